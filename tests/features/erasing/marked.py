"""A case in which every word that anybody writes is one of a kind, so that it can be looked for."""

import re
from dataclasses import replace
from datetime import time, timedelta
from itertools import count
from uuid import UUID

from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.assessments.service import Assess, assess
from referral.cases.booking import BookVisit, book_visit
from referral.cases.handing import HandOver, hand_over
from referral.cases.note_kinds import NOTES
from referral.cases.notes import KeepNote, keep_note
from referral.cases.remarks import (
    AddObservation,
    AnswerFlag,
    RaiseFlag,
    add_observation,
    answer_flag,
    close_case,
    raise_flag,
    reopen_case,
)
from referral.cases.service import (
    SendReferral,
    SetLimit,
    SetProblem,
    Words,
    acknowledge,
    answer_question,
    ask_question,
    send_referral,
    set_limit,
    set_problem,
)
from referral.core.workflow import Role
from referral.plans.cautions import AcknowledgeCautions, acknowledge_cautions, open_of
from referral.plans.consents import RecordConsent, record_consent
from referral.plans.queries import plan_of
from referral.plans.service import (
    SubmitPlan,
    accept_amendment,
    amend_plan,
    send_back,
    submit_plan,
)
from referral.resets.rechecks import SetRecheck, set_recheck
from referral.resets.service import ask_correction
from referral.storage.db import Base
from tests.factories import a_person
from tests.features.resets.story import RULEBOOK, Story

MARK = re.compile(r"Zq\d{3}x")
_numbers = count(100)


def mark() -> str:
    """Return words that stand nowhere else."""
    return f'Zq{next(_numbers)}x, said "so".'


def rows_as_text(database) -> str:
    """Return every row of every table as text."""
    with database.reading() as session:
        return "\n".join(
            f"{table.name}: {tuple(row)}"
            for table in Base.metadata.sorted_tables
            for row in session.execute(select(table))
        )


def marks_in(text: str) -> set[str]:
    return set(MARK.findall(text))


def marks_in_files(story: Story) -> set[str]:
    return {
        each
        for path in story.office.blobs.folder.glob("*/*")
        for each in marks_in(path.read_bytes().decode("latin-1"))
    }


def doing(story: Story, who: str, act, *more) -> None:
    """Have one of the cast do something on the case, a minute later."""
    story.move(minutes=1)
    with story.database.transaction() as session:
        act(session, story.access(session, who), *more, story.now)


def said(story: Story) -> Words:
    return Words(mark(), story.today)


def write_everything(story: Story) -> None:
    """Take a case round the loop, past every move that takes words."""
    _refer(story)
    _plan(story)
    _note(story)
    _fit(story)
    _end(story)


def _refer(story: Story) -> None:
    story.film()
    problem = SetProblem("LF", "underrun_heels", "sure", mark(), story.today)
    doing(story, "vet", set_problem, problem)
    # looser than the shipped limit, so that findings repeat its reason
    loose = SetLimit(
        "palmar_angle_deg", "after_fit", -9.0, None, "deg", "must", "LF", mark(), None, story.today
    )
    doing(story, "vet", set_limit, loose)
    kept = replace(loose, measure="sole_depth_tip_mm", stage="now", at_least=1.0, unit="mm")
    doing(story, "vet", set_limit, replace(kept, reason=mark()))
    broken = replace(loose, stage="at_due", at_least=40.0, reason=mark())
    doing(story, "vet", set_limit, broken)
    revision = story.revision()
    referral = SendReferral(("LF",), "routine", mark(), mark(), False, story.today, revision)
    doing(story, "vet", send_referral, referral)
    doing(story, "farrier", acknowledge, said(story))
    doing(story, "farrier", ask_question, said(story))
    doing(story, "vet", answer_question, said(story))


def _submission(story: Story) -> SubmitPlan:
    limbs = {"LF": {**story.plan, "reason": mark()}}
    on = story.today + timedelta(weeks=5)
    return SubmitPlan(limbs, mark(), "vet", on, story.today, None)


def _plan(story: Story) -> None:
    submit = _submission(story)
    story.plan = {**submit.limbs["LF"]}
    doing(story, "farrier", lambda s, a, now: submit_plan(s, a, submit, RULEBOOK, now))
    doing(story, "vet", lambda s, a, now: send_back(s, a, 1, said(story), now))
    doing(story, "farrier", lambda s, a, now: submit_plan(s, a, _submission(story), RULEBOOK, now))
    doing(story, "vet", lambda s, a, now: amend_plan(s, a, _submission(story), RULEBOOK, now))
    doing(story, "farrier", lambda s, a, now: accept_amendment(s, a, 3, said(story), now))
    with story.database.reading() as session:
        view = plan_of(session, story.access(session, "vet").case_id, 3)
        cautions = [each.finding_id for each in open_of(view.findings, (), "vet")]
    known = AcknowledgeCautions(3, frozenset(cautions), mark(), story.today, None)
    doing(story, "vet", acknowledge_cautions, known)
    agreement = story.agreement(3)
    waived = dict.fromkeys(agreement.waivers, mark())
    agreement = replace(agreement, waivers=waived, words=mark())
    story.sign_first("vet", story.propose_agreement(agreement))
    story.sign_plan()
    consent = RecordConsent(
        3, "given", mark(), "owner", "on this page", story.today, mark(), mark(), mark(), mark(),
        None,
    )  # fmt: skip
    doing(story, "owner", lambda s, a, now: record_consent(s, a, consent, RULEBOOK, now))


def _note(story: Story) -> None:
    seen = AddObservation("LF", "landing", mark(), story.today)
    doing(story, "farrier", add_observation, seen)
    assessed = Assess("LF", story.today, {"landing": "flat"}, {}, mark(), story.today)
    doing(story, "farrier", assess, assessed)
    doing(story, "owner", raise_flag, RaiseFlag("foal_lame", "LF", mark(), story.today))
    with story.database.reading() as session:
        (flag,) = story.access(session, "vet").state.live_flags
    answer = AnswerFlag(UUID(flag), "managed", mark(), story.today, story.today, mark())
    doing(story, "vet", answer_flag, answer)
    for name, answers in NOTED.items():
        kind = NOTES[name]
        words = {each.name: mark() for each in kind.asked if each.is_words}
        doing(story, "vet", keep_note, KeepNote(kind, {**answers, **words}, story.today))
    visit = BookVisit("vet", story.today + timedelta(days=3), time(9), None, mark(), story.today)
    doing(story, "vet", book_visit, visit)
    vet = story.cast.vet.id
    recheck = SetRecheck(story.today, "vet", vet, mark(), mark(), story.today)
    doing(story, "vet", set_recheck, recheck)


NOTED = {
    "calls": {"with_whom": "farrier"},
    "medication": {"medication": "sedation"},
    "lameness": {"limb": "LF", "scale": "uk", "grade": 1.0, "gait": "walk"},
    "emergencies": {"limb": "LF"},
    "support-limb-checks": {"limb": "RF", "found": "quiet"},
    "after-checks": {"comfort": "comfortable", "shoe": "sound"},
    "step-downs": {"limb": "LF", "device": "wedge"},
    "renewals": {"limb": "LF", "device": "wedge"},
}


def _fit(story: Story) -> None:
    for again in (False, True):
        done = {**_submission(story).limbs["LF"], "toe_trim_mm": 9.0}
        record = replace(
            story.fitted(3),
            limbs={"LF": done},
            reasons={f"LF.{each}": mark() for each in DIFFERING},
            found=mark(),
            comfort=mark(),
            advice=mark(),
        )
        story.move(days=1)
        record = replace(record, fitted_on=story.today)
        story.sign_first("farrier", story.propose_reset(record))
        if not again:
            doing(story, "vet", lambda s, a, now: ask_correction(s, a, 1, said(story), now))
    story.countersign(1)


DIFFERING = ("toe_trim_mm",)


def _end(story: Story) -> None:
    doing(story, "vet", close_case, "improved", said(story))
    doing(story, "vet", reopen_case, said(story))
    with story.database.transaction() as session:
        forge = session.get(Organisation, story.cast.forge_id)
        other_id = a_person(session, "farrier", forge, now=story.now).id
    part = HandOver(Role.FARRIER, story.cast.farrier.id, other_id, story.today, mark())
    doing(story, "farrier", hand_over, part)
