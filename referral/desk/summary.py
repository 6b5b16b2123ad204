"""The owner's summary of a case on one page, in plain words and printed by the browser."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.choices import OUTCOMES, SIGNS
from referral.cases.models import Closure, RedFlag
from referral.cases.note_kinds import LABELS
from referral.cases.notes import notes_of
from referral.cases.queries import (
    current_problems,
    flags_of,
    latest_referral,
    names_on,
)
from referral.cases.ringing import contacts_on
from referral.core.workflow import Move, Role, Stage
from referral.desk.trends import trends_page
from referral.horses.models import Horse
from referral.plans.queries import PlanView
from referral.resets.queries import reset_of, resets_of
from referral.sheets.owners import agreed_plan, next_steps
from referral.sheets.plainly import problem_plainly, reading_plainly, source_plainly, work_plainly
from referral.sheets.snapshot import NextStep, Told
from referral.sheets.texts import AFTERCARE, DANGER_SIGNS
from referral.sheets.wording import LIMBS
from referral.web.written import day

NOW_SAYS: Mapping[Stage, str] = {
    Stage.NEW: "Nothing has been written down yet.",
    Stage.OPENED: "The vet examines the horse and writes down what the foot needs.",
    Stage.ASKED: "A vet has been asked to examine the horse and has not answered yet.",
    Stage.REFERRED: "The vet has referred the foot to the farrier, who takes it on next.",
    Stage.QUESTION: "The farrier has asked the vet a question.",
    Stage.PLANNING: "The farrier writes the plan.",
    Stage.REVIEW: "The vet looks at the farrier’s plan.",
    Stage.AMENDED: "The vet has changed the plan; the farrier answers.",
    Stage.SIGNING: "The plan is agreed; the farrier signs it.",
    Stage.CONSENT: "The plan is agreed and waits for your consent.",
    Stage.FITTING: "Everybody has agreed; the farrier does the work next.",
    Stage.COUNTERSIGN: "The work is done; the vet looks at what was done.",
    Stage.CORRECTING: "The farrier puts the record of the work right.",
    Stage.MONITORING: "The work is done and looked at; nothing is to be done until the next date.",
    Stage.CLOSED: "The case is closed.",
}
"""Where a case stands, for somebody who is neither vet nor farrier."""

TRENDS_SHOWN = 4
CHECKS_SHOWN = 2


@dataclass(frozen=True, slots=True)
class SummaryPage:
    """What the owner's summary prints."""

    number: int
    horse: str
    today: date
    is_owner: bool
    now: tuple[str, ...]
    flags: tuple[str, ...]
    told: tuple[Told, ...]
    next_steps: tuple[NextStep, ...]
    danger_signs: tuple[str, ...]
    aftercare: tuple[str, ...]
    phones: tuple[tuple[str, str], ...]


def summary_page(session: Session, access: CaseAccess, today: date) -> SummaryPage:
    """Return a case in plain words: what was found, agreed and done, how it goes, what is next."""
    plan = agreed_plan(session, access)
    return SummaryPage(
        number=access.number,
        horse=session.get_one(Horse, access.horse_id).name,
        today=today,
        is_owner=Role.OWNER in access.roles,
        now=_now(session, access),
        flags=tuple(
            _sign(flag)
            for flag, _answer in flags_of(session, access.case_id)
            if str(flag.id) in access.state.live_flags
        ),
        told=tuple(
            part
            for part in (
                _found(session, access),
                _agreed(session, access, plan),
                _done(session, access),
                _goes(session, access),
            )
            if part.facts or part.says
        ),
        next_steps=next_steps(session, access),
        danger_signs=DANGER_SIGNS,
        aftercare=AFTERCARE if access.state.reset_n else (),
        phones=tuple(
            (f"{each.name}, {each.role}" if each.role else each.name, each.phone)
            for each in contacts_on(session, access.case_id)
        ),
    )


def _sign(flag: RedFlag) -> str:
    return dict(SIGNS).get(flag.sign, flag.sign)


def _now(session: Session, access: CaseAccess) -> tuple[str, ...]:
    said = [NOW_SAYS[access.state.stage]]
    if access.state.live_flags:
        said = ["A red flag is raised: work waits until the vet has answered it."]
    elif access.state.vet_to_see:
        said = ["Something had to be done in an emergency; the vet looks at it next."]
    for flag, answer in flags_of(session, access.case_id):
        if str(flag.id) in access.state.managed and answer is not None and answer.until:
            said.append(f"{_sign(flag)}: known, and managed until {day(answer.until)}.")
    return tuple(said)


def _found(session: Session, access: CaseAccess) -> Told:
    facts = [
        (LIMBS[each.limb], problem_plainly(each.condition, each.certainty))
        for each in current_problems(session, access.case_id)
    ]
    referral = latest_referral(session, access.case_id)
    if referral is not None:
        facts.append(("What the vet hopes for", referral.goals))
    return Told("What was found", tuple(facts))


def _agreed(session: Session, access: CaseAccess, plan: PlanView | None) -> Told:
    if plan is None or plan.agreed is None:
        return Told("What was agreed", (), ("No plan has been agreed yet.",))
    names = names_on(session, access.case_id)
    vet = names.get(plan.agreed.reviewer_id, "the vet")
    farrier = names.get(plan.plan.author_id, "the farrier")
    facts = [("Who agreed", f"{vet}, vet, on {day(plan.agreed.reviewed_at)}; plan of {farrier}")]
    given = [each for each in plan.consents if each.decision == "given"]
    if given:
        last = given[-1]
        facts.append(("Consent", f"{last.given_by}, {day(last.given_on)}"))
        more = (
            ("Cost", last.cost),
            ("How many visits", last.resets_expected),
            ("What can go wrong", last.risks),
            ("Outlook", last.outlook),
        )
        facts += [(label, words) for label, words in more if words]
    return Told("What was agreed", tuple(facts), _work(plan.limbs, done=False))


def _work(limbs: Mapping[str, Mapping[str, object]], *, done: bool) -> tuple[str, ...]:
    return tuple(
        f"{LIMBS[limb]}: {' '.join(work_plainly(content, done=done))}"
        for limb, content in sorted(limbs.items())
    )


def _done(session: Session, access: CaseAccess) -> Told:
    if not access.state.reset_n:
        return Told("What was done", (), ("Nothing has been fitted yet.",))
    view = reset_of(session, access.case_id, access.state.reset_n)
    resets = {each.n: each.fitted_on for each in resets_of(session, access.case_id)}
    facts = [
        ("Visits so far", f"{len(resets)}, the last on {day(view.reset.fitted_on)}"),
        *(
            (label, words)
            for label, words in (
                ("How it walked off", view.reset.comfort),
                ("The farrier’s advice", view.reset.advice),
            )
            if words
        ),
    ]
    other = [f"Not quite as planned: {each.reason}" for each in view.deviations]
    return Told("What was done", tuple(facts), (*_work(view.limbs, done=True), *other))


def _goes(session: Session, access: CaseAccess) -> Told:
    checks = notes_of(session, access.case_id, Move.CHECK_AFTER_FITTING)[:CHECKS_SHOWN]
    facts = [
        (
            f"Seen {day(each.entry.happened_on)}",
            f"{_label(each.facts.get('comfort'))}; shoe: {_label(each.facts.get('shoe')).lower()}",
        )
        for each in checks
    ]
    trends = [each for each in trends_page(session, access).trends if each.is_limited]
    says = tuple(
        f"{LIMBS[each.limb]}, {reading_plainly(each.code, each.name)}: {each.says[0]} "
        f"{source_plainly(each.basis, each.points[0][0], each.points[-1][0])}"
        for each in trends[:TRENDS_SHOWN]
    )
    return Told(
        "How it goes", (*facts, *_outcome(session, access)), (*_lameness(session, access), *says)
    )


def _lameness(session: Session, access: CaseAccess) -> tuple[str, ...]:
    """Return how lame each limb was first and last graded, on each scale by itself."""
    graded: dict[tuple[str, str], list[str]] = {}
    for note in reversed(notes_of(session, access.case_id, Move.GRADE_LAMENESS)):
        said = f"{note.facts['grade']:g} on {day(note.entry.happened_on)}"
        graded.setdefault((note.facts["limb"], note.facts["scale"]), []).append(said)
    ends = {key: dict.fromkeys((said[0], said[-1])) for key, said in sorted(graded.items())}
    return tuple(
        f"{LIMBS[limb]}, lameness, {LABELS[scale]}: {', then '.join(said)}."
        for (limb, scale), said in ends.items()
    )


def _label(code: object) -> str:
    return LABELS.get(str(code), "not said")


def _outcome(session: Session, access: CaseAccess) -> Sequence[tuple[str, str]]:
    if access.state.stage is not Stage.CLOSED:
        return ()
    row = session.scalars(
        select(Closure)
        .where(Closure.case_id == access.case_id)
        .order_by(Closure.closed_at.desc())
        .limit(1)
    ).one_or_none()
    return () if row is None else (("How it ended", dict(OUTCOMES).get(row.outcome, row.outcome)),)
