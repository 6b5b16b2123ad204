"""The owner's copy: what is wrong, what is done, what it costs and what to watch, plainly."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.queries import current_problems, latest_referral, people_on
from referral.core.workflow import Stage
from referral.errors import Invalid
from referral.plans.models import Consent, PlanRow, Review
from referral.plans.queries import PlanView, plan_of
from referral.resets.queries import ResetView, current_recheck, reset_of
from referral.sheets.making import Frame, framed
from referral.sheets.plainly import problem_plainly, work_plainly
from referral.sheets.snapshot import NextStep, Snapshot, Told
from referral.sheets.texts import AFTERCARE, DANGER_SIGNS
from referral.sheets.wording import LIMBS
from referral.storage.blobs import BlobStore
from referral.web.written import day

NOT_SAID = "Not written down yet: ask the vet and the farrier before you agree."
OTHER_CAUTIONS = (
    "This copy is for you as the owner. What the vet and the farrier signed has all the numbers.",
    "Nobody can promise how the horse will respond. Ask whenever something is not clear.",
)


def agreed_plan(session: Session, access: CaseAccess) -> PlanView | None:
    """Return the newest plan that the vet's last answer agrees to, if there is one."""
    numbers = session.scalars(
        select(PlanRow.n)
        .join(Review, Review.plan_id == PlanRow.id)
        .where(PlanRow.case_id == access.case_id, Review.decision == "agreed")
        .order_by(PlanRow.n.desc())
        .distinct()
    ).all()
    views = (plan_of(session, access.case_id, n) for n in numbers)
    return next((view for view in views if view.agreed), None)


def owner_snapshot(
    session: Session,
    access: CaseAccess,
    _blobs: BlobStore,
    frame: Frame,
    _pictures: dict[str, bytes],
) -> Snapshot:
    """Return what the owner is told, frozen.

    Raises
    ------
    Invalid
        If no plan has been agreed.
    """
    plan = agreed_plan(session, access)
    if plan is None:
        raise Invalid("No plan has been agreed yet.")
    fitted = _fitted(session, access, plan)
    told = (
        _wrong(session, access, plan, frame.words),
        *_work(plan, fitted),
        *_hoped(session, access),
        _cost(session, access, plan),
    )
    return framed(
        session,
        access,
        frame,
        about=tuple(sorted(plan.limbs)),
        told=told,
        aftercare=(*_advice(fitted), *AFTERCARE),
        danger_signs=DANGER_SIGNS,
        next_steps=next_steps(session, access),
        cautions=OTHER_CAUTIONS,
    )


def _fitted(session: Session, access: CaseAccess, plan: PlanView) -> ResetView | None:
    """Return the last reset if it was of this plan."""
    if not access.state.reset_n:
        return None
    last = reset_of(session, access.case_id, access.state.reset_n)
    return last if last.reset.plan_id == plan.plan.id else None


def _wrong(session: Session, access: CaseAccess, plan: PlanView, words: str | None) -> Told:
    facts = [
        (LIMBS[each.limb], problem_plainly(each.condition, each.certainty))
        for each in current_problems(session, access.case_id)
        if each.limb in plan.limbs
    ]
    if words:
        facts.append(("From the vet", words))
    return Told("What is wrong", tuple(facts))


def _work(plan: PlanView, fitted: ResetView | None) -> tuple[Told, ...]:
    if fitted is not None:
        title, limbs = f"What was done on {day(fitted.reset.fitted_on)}", fitted.limbs
    else:
        title, limbs = "What will be done", plan.limbs
    return tuple(
        Told(f"{title}: {LIMBS[limb].lower()}", (), work_plainly(content, done=fitted is not None))
        for limb, content in sorted(limbs.items())
    )


def _hoped(session: Session, access: CaseAccess) -> tuple[Told, ...]:
    referral = latest_referral(session, access.case_id)
    if referral is None:
        return ()
    return (Told("What the vet hopes for", (("In the vet’s words", referral.goals),)),)


Given = tuple[Consent, int]
"""A consent that was given, and the number of the plan that it was given to."""


def _cost(session: Session, access: CaseAccess, plan: PlanView) -> Told:
    given = _given(session, access, plan.plan.n)
    here = [each for each in given if each[1] == plan.plan.n]
    facts = [
        ("Cost", _last_said(given, here, "cost")),
        ("How many visits", _last_said(given, here, "resets_expected")),
        ("What can go wrong", _last_said(here, here, "risks")),
        ("Outlook", _last_said(here, here, "outlook")),
    ]
    if plan.consents:
        last = plan.consents[-1]
        answer = "You agreed" if last.decision == "given" else "You did not agree"
        facts.append((answer, f"{last.given_by}, {day(last.given_on)}"))
    return Told("Cost, risks and outlook", tuple(facts))


def _given(session: Session, access: CaseAccess, n: int) -> tuple[Given, ...]:
    """Return the consents given to this plan and to those before it, newest first."""
    rows = session.execute(
        select(Consent, PlanRow.n)
        .join(PlanRow, PlanRow.id == Consent.plan_id)
        .where(PlanRow.case_id == access.case_id, PlanRow.n <= n, Consent.decision == "given")
        .order_by(Consent.recorded_at.desc(), Consent.id.desc())
    )
    return tuple((consent, number) for consent, number in rows)


def _last_said(among: Sequence[Given], here: Sequence[Given], name: str) -> str:
    """Return what was last said of a thing; of what is not of the last consent, also when.

    Cost and visits are looked for in earlier plans too; risks and outlook are a plan's own.
    """
    for consent, n in among:
        said = getattr(consent, name)
        if said:
            if here and consent is here[0][0]:
                return str(said)
            of_plan = "" if here and n == here[0][1] else f" for plan {n}"
            return f"{said} (said on {day(consent.given_on)}{of_plan}; ask whether it still holds)"
    return NOT_SAID


def _advice(fitted: ResetView | None) -> tuple[str, ...]:
    advice = fitted.reset.advice if fitted else None
    return (f"From the farrier: {advice}",) if advice else ()


def next_steps(session: Session, access: CaseAccess) -> tuple[NextStep, ...]:
    """Return what comes next on the case, the earliest first, and who sees to each."""
    state = access.state
    if state.stage is Stage.CLOSED:
        return ()
    people = people_on(session, access.case_id)
    names = {member.role: person.name for member, person, _organisation in people}
    here = {person.id: person.name for _member, person, _organisation in people}
    steps = []
    if state.due_on:
        farrier = names.get("farrier", "the farrier")
        steps.append(NextStep("The farrier comes again", state.due_on, farrier))
    if state.recheck_on and state.recheck_owner:
        row = current_recheck(session, access.case_id)
        owner = names.get(state.recheck_owner, f"the {state.recheck_owner}")
        owner = here.get(row.owner_id, owner) if row is not None else owner
        steps.append(NextStep("The foot is looked at again", state.recheck_on, owner))
    return tuple(sorted(steps, key=lambda each: each.on))
