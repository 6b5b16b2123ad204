"""What a whole case taken at random is held against, and the verbs it is taken through."""

import json
from dataclasses import dataclass, field
from datetime import date, timedelta
from uuid import UUID

from hypothesis import strategies as st

from referral.cases.note_kinds import NOTES
from referral.cases.notes import KeepNote, keep_note
from referral.cases.remarks import (
    close_case,
    reopen_case,
)
from referral.cases.service import (
    SendReferral,
    Words,
    acknowledge,
    answer_question,
    ask_question,
    send_referral,
)
from referral.cases.timeline import NewEntry, append
from referral.core.workflow import Move
from referral.plans.agreement import must_be_answered
from referral.plans.consents import RecordConsent, record_consent
from referral.plans.queries import plan_of
from referral.plans.service import (
    AgreePlan,
    SubmitPlan,
    accept_amendment,
    agree_plan,
    amend_plan,
    judge_again,
    send_back,
    submit_plan,
)
from referral.resets.rechecks import SetRecheck, set_recheck
from referral.resets.service import (
    CountersignReset,
    RecordReset,
    ask_correction,
    check_reset,
    countersign,
    record_reset,
)
from referral.rulebook.loader import load_rulebook
from tests.core.test_workflow import (
    ANY_TIME,
    CLOSING,
    EVEN_CLOSED,
    JUDGE_AGAIN,
    PAUSED_BY_FLAG,
    TURN_MOVES,
)

RULEBOOK = load_rulebook()
PLAN = {
    "toe_trim_mm": 4.0,
    "heel_trim_mm": 0.0,
    "interval_weeks": 5.0,
    "shoe": {"category": "open", "thickness_mm": 10.0},
}
WHOSE = {
    "opened": "vet", "asked": "vet", "referred": "farrier", "question": "vet",
    "planning": "farrier", "review": "vet", "amended": "farrier", "signing": "farrier",
    "consent": "owner", "fitting": "farrier", "countersign": "vet", "correcting": "farrier",
    "monitoring": "farrier", "closed": None,
}  # fmt: skip
FORWARD = {
    "opened": "referral_sent", "referred": "referral_acknowledged", "question": "question_answered",
    "planning": "plan_submitted", "review": "plan_agreed", "amended": "amendment_accepted",
    "signing": "plan_signed", "consent": "consent_given", "fitting": "reset_recorded",
    "countersign": "reset_countersigned", "correcting": "reset_recorded",
    "monitoring": "plan_submitted", "closed": "case_reopened",
}  # fmt: skip
UNDER_WAY = ("review", "amended", "signing", "consent", "fitting")
PEOPLE = ("vet", "farrier", "owner", "stranger")
MOST_HANDED = 3
DAYS = st.integers(min_value=0, max_value=40)


@dataclass
class Model:
    """What a case should be, kept by hand."""

    stage: str = "opened"
    live: set[str] = field(default_factory=set)
    managed: dict[str, date] = field(default_factory=dict)
    vet_to_see: bool = False
    limit: float = 3.0
    base: float = 3.0
    left: str | None = None
    plan_n: int = 0
    reset_n: int = 0
    judged_on: float = 3.0
    seen_since: bool = False
    handed: int = 0
    entries: list[tuple[int, str, str]] = field(default_factory=list)
    said: set[str] = field(default_factory=set)
    agreed: dict[UUID, tuple[str, str]] = field(default_factory=dict)

    @property
    def turn(self) -> str | None:
        return "vet" if self.live or self.vet_to_see else WHOSE[self.stage]

    def may(self, role: str, move: str) -> bool:
        """Say whether the table lets this role make this move now."""
        if move in PAUSED_BY_FLAG and self.live:
            return False
        if (role, move) in TURN_MOVES[self.stage] or (role, move) in CLOSING:
            return (role, move) in TURN_MOVES[self.stage] or self.stage != "closed"
        if move == "plan_judged_again":
            return self.stage in JUDGE_AGAIN and role in ("vet", "farrier")
        return move in ANY_TIME.get(role, ()) and (self.stage != "closed" or move in EVEN_CLOSED)

    def goes_on(self, role: str, move: str) -> None:
        """Take note of a move that was made."""
        self.vet_to_see = move == "emergency_work_recorded" or (self.vet_to_see and role != "vet")
        led_to = {**TURN_MOVES[self.stage], **CLOSING}.get((role, move))
        if move == "case_reopened" and self.reset_n == 0:
            led_to = "opened"
        if move == "plan_judged_again":
            led_to = JUDGE_AGAIN[self.stage]
        if led_to:
            self.stage, self.base, self.left = led_to, self.limit, None

    def limit_is(self, value: float) -> None:
        """Take note of a limit that takes the place of the one before."""
        self.limit = value
        if self.stage in UNDER_WAY:
            left = self.left or self.stage
            back = self.limit == self.base
            self.stage, self.left = (left, None) if back else ("review", left)


class Verbs:
    """Every move through the verb that writes it: session, access, revision, day, now."""

    def __init__(self) -> None:
        self.model = Model()
        self.people: dict[str, UUID] = {}
        self.agreeing: dict[UUID, tuple[str, str]] = {}
        self.moves = {
            "referral_sent": self._refer,
            "referral_acknowledged": self._words(acknowledge),
            "question_asked": self._words(ask_question),
            "question_answered": self._words(answer_question),
            "plan_submitted": self._submit,
            "plan_amended": self._amend,
            "amendment_accepted": self._accept,
            "plan_agreed": self._agree,
            "plan_sent_back": self._send_back,
            "plan_signed": self._sign,
            "consent_given": self._consent("given"),
            "consent_declined": self._consent("declined"),
            "reset_recorded": self._fit,
            "reset_countersigned": self._countersign,
            "correction_asked": self._correct,
            "case_closed": lambda *at: close_case(*at[:2], "improved", self._said(*at[2:4]), at[4]),
            "case_reopened": self._words(reopen_case),
            "plan_judged_again": self._judge,
            "recheck_set": self._recheck,
            "emergency_work_recorded": self._emergency,
        }

    def _said(self, revision, day):
        return Words("What was said", day, revision)

    def _words(self, verb):
        return lambda *at: verb(*at[:2], self._said(*at[2:4]), at[4])

    def _refer(self, session, access, revision, day, now):
        given = SendReferral(("LF",), "routine", "Raise the heel", None, False, day, revision)
        send_referral(session, access, given, now)

    def _plan(self, revision, day, toe=4.0):
        plan = {"LF": {**PLAN, "toe_trim_mm": toe}}
        return SubmitPlan(plan, "What it allows", "vet", day + timedelta(weeks=5), day, revision)

    def _submit(self, session, access, revision, day, now):
        submit_plan(session, access, self._plan(revision, day), RULEBOOK, now)

    def _amend(self, session, access, revision, day, now):
        amend_plan(session, access, self._plan(revision, day, 3.0), RULEBOOK, now)

    def _accept(self, session, access, revision, day, now):
        accept_amendment(session, access, self.model.plan_n, self._said(revision, day), now)

    def _send_back(self, session, access, revision, day, now):
        send_back(session, access, self.model.plan_n, self._said(revision, day), now)

    def _judge(self, session, access, _revision, day, now):
        judge_again(session, access, self.model.plan_n, RULEBOOK, day, now)

    def _agree(self, session, access, revision, day, now):
        view = plan_of(session, access.case_id, self.model.plan_n)
        asked = {each.id: must_be_answered(each) for each in view.findings}
        waived = {key: "Known" for key, want in asked.items() if want == "waived"}
        seen = frozenset(key for key, want in asked.items() if want == "seen")
        sha = view.judgement.basis_sha256
        given = AgreePlan(self.model.plan_n, sha, waived, seen, None, day, revision)
        review = agree_plan(session, access, given, RULEBOOK, now)
        content = {each: dict(limb) for each, limb in view.limbs.items()}
        self.agreeing = {review.id: (sha, json.dumps(content, sort_keys=True))}

    def _sign(self, session, access, revision, day, now):
        facts = {"plan_n": self.model.plan_n}
        append(session, access, NewEntry(Move.SIGN_PLAN, day, facts, based_on=revision), now)

    def _consent(self, decision):
        def consent(session, access, revision, day, now):
            said = (None, None, None, None)
            given = RecordConsent(
                self.model.plan_n, decision, "The owner", "owner", "by phone", day, *said, revision
            )
            record_consent(session, access, given, RULEBOOK, now)

        return consent

    def _fit(self, session, access, revision, _day, now):
        view = plan_of(session, access.case_id, self.model.plan_n)
        given = RecordReset(
            self.model.plan_n, view.limbs, {}, now.date(), 5.0, None, None, None, revision
        )
        record_reset(session, access, check_reset(session, access, given, RULEBOOK, now), now)

    def _countersign(self, session, access, revision, day, now):
        due = now.date() + timedelta(weeks=5)
        vet = self.people["vet"]
        given = CountersignReset(self.model.reset_n, None, due, "vet", vet, None, day, revision)
        countersign(session, access, given, now)

    def _correct(self, session, access, revision, day, now):
        ask_correction(session, access, self.model.reset_n, self._said(revision, day), now)

    def _recheck(self, session, access, _revision, _day, now):
        due = now.date() + timedelta(weeks=4)
        given = SetRecheck(due, "vet", self.people["vet"], None, None, now.date())
        set_recheck(session, access, given, now)

    def _emergency(self, session, access, _revision, day, now):
        given = {"limb": "LF", "found": "A sprung shoe"}
        keep_note(session, access, KeepNote(NOTES["emergencies"], given, day), now)
