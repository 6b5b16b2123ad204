"""What the plan pages show, frozen and ready to print."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.queries import names_on
from referral.clock import day_at
from referral.core.measure.film import measure
from referral.core.measure.readings import Measured
from referral.core.measure.stated import merge
from referral.core.predict.along import STRAIGHT_DEG, along_wall_mm
from referral.core.rules.finding import CaseLimit, Finding
from referral.core.rules.quiet import Acknowledged
from referral.core.workflow import Move
from referral.films.queries import erased_among, erased_ground, limb_basis
from referral.horses.models import Horse
from referral.horses.queries import owner_name_of
from referral.plans.agreement import must_be_answered
from referral.plans.cautions import (
    OpenCaution,
    QuietCaution,
    acknowledged_on,
    open_of,
    quiet_of,
)
from referral.plans.judging import Judged
from referral.plans.models import FindingRow
from referral.plans.queries import (
    PlanView,
    case_limits,
    is_stale,
    judged_on,
    plan_of,
    planned_limbs,
    plans_of,
)
from referral.plans.record import predictions_record
from referral.plans.rows import PLAN_FIELDS, PlanLine, ReadingRow, plan_lines, reading_rows
from referral.plans.schemas import TRIMMED_BY, Walls, typed_from
from referral.plans.summaries import summary_told
from referral.rulebook.loader import Rulebook

JOINTS: Mapping[str, str] = {
    "lift_deg": "The hoof turns, heels up",
    "dip_flexion_deg": "The coffin joint flexes",
    "pip_flexion_deg": "The pastern joint flexes",
    "fetlock_extension_deg": "The fetlock extends",
}
DEFAULT_LIMB = {"interval_weeks": 5, "attachment": "nails", "category": "open"}


@dataclass(frozen=True, slots=True)
class LimbShown:
    """One limb of a plan: its lines, readings, findings, and what is only information."""

    limb: str
    lines: tuple[PlanLine, ...]
    rows: tuple[ReadingRow, ...]
    due_rows: tuple[ReadingRow, ...]
    findings: tuple[FindingRow | Finding, ...]
    assumptions: tuple[str, ...]
    joints: tuple[tuple[str, float], ...]
    weeks: float | None
    longest: str
    notes: tuple[str, ...]
    quiet: tuple[QuietCaution, ...] = ()

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """The plan's lines as pairs of label and what is planned."""
        return tuple((line.label, line.planned) for line in self.lines)


@dataclass(frozen=True, slots=True)
class Answerable:
    """A finding that agreeing asks the vet to answer: a reason, or a tick."""

    finding_id: UUID
    limb: str
    title: str
    says: str
    wanted: str


@dataclass(frozen=True, slots=True)
class SetOtherwise:
    """A finding by a rule that is the practice's own, or set otherwise by it."""

    limb: str
    rule: str
    says: str
    is_looser: bool


@dataclass(frozen=True, slots=True)
class PlanPage:
    """A plan as its page shows it."""

    number: int
    revision: int
    n: int
    author: str
    submitted_at: Any
    words: str | None
    recheck: tuple[str, date] | None
    summary: str
    worst: str
    basis_sha256: str
    limbs: tuple[LimbShown, ...]
    asked: tuple[Answerable, ...]
    cautions: tuple[OpenCaution, ...]
    decisions: tuple[tuple[str, str, Any, str | None], ...]
    waivers: tuple[tuple[str, str], ...]
    consents: tuple[tuple[str, str, date], ...]
    is_stale: bool
    is_latest: bool
    owner: str
    today: date
    access: CaseAccess
    set_otherwise: tuple[SetOtherwise, ...]
    erased_ground: tuple[str, ...]
    changes_n: int | None
    changed: tuple[tuple[str, PlanLine], ...]

    @property
    def why_no_consent(self) -> str:
        """Why nobody can consent to this plan now, or an empty string."""
        if not self.is_latest:
            return "A newer plan has taken this one’s place."
        return self.access.why_not(Move.GIVE_CONSENT)

    def may(self, move: str) -> bool:
        """Say whether whoever looks can make this move on this plan now."""
        return self.is_latest and self.access.may(Move(move))


def plan_page(
    session: Session, access: CaseAccess, n: int, rulebook: Rulebook, now: datetime
) -> PlanPage:
    """Return what the page of plan n shows.

    Raises
    ------
    NotFound
        If this case has no such plan.
    """
    view = plan_of(session, access.case_id, n)
    names = names_on(session, access.case_id)
    limits = case_limits(session, access.case_id)
    known = acknowledged_on(session, access.case_id)
    horse = session.get_one(Horse, access.horse_id)
    shown = tuple(_stored_limb(view, limb, limits, known) for limb in view.limbs)
    return PlanPage(
        number=access.number,
        revision=access.revision,
        n=n,
        author=names.get(view.plan.author_id, view.plan.author_role),
        submitted_at=view.plan.submitted_at,
        words=view.plan.words,
        recheck=_recheck(view),
        summary=summary_told({each.limb: each.findings for each in shown}, known),
        worst=view.judgement.worst,
        basis_sha256=view.judgement.basis_sha256,
        limbs=shown,
        asked=_asked(view),
        cautions=_cautions(access, view, known),
        decisions=tuple(
            (names.get(each.reviewer_id, "vet"), each.decision, each.reviewed_at, each.words)
            for each in view.reviews
        ),
        waivers=_waivers(view),
        consents=tuple((each.given_by, each.decision, each.given_on) for each in view.consents),
        is_stale=is_stale(session, access, view, rulebook, now.date()),
        is_latest=n == access.state.plan_n,
        owner=owner_name_of(session, horse) or "",
        today=day_at(now, access.zone),
        access=access,
        set_otherwise=_set_otherwise(view),
        erased_ground=erased_among(session, access.case_id, judged_on(view)),
        changes_n=view.plan.changes_n,
        changed=_changed(session, access, view),
    )


def _changed(
    session: Session, access: CaseAccess, view: PlanView
) -> tuple[tuple[str, PlanLine], ...]:
    """Return what the vet changed, limb by limb; nothing where the plan changes no other."""
    if view.plan.changes_n is None:
        return ()
    before = plan_of(session, access.case_id, view.plan.changes_n)
    return lines_apart(before.limbs, view.limbs)


def lines_apart(
    before: Mapping[str, Mapping[str, Any]], after: Mapping[str, Mapping[str, Any]]
) -> tuple[tuple[str, PlanLine], ...]:
    """Return the lines in which one plan differs from another, limb by limb."""
    return tuple(
        (limb, line)
        for limb, content in after.items()
        if limb in before
        for line in plan_lines(before[limb], content, {})
        if line.planned != line.as_fitted
    )


def _set_otherwise(view: PlanView) -> tuple[SetOtherwise, ...]:
    """Return the findings by rules that the vet's practice set, as they were judged."""
    return tuple(
        SetOtherwise(each.limb, each.rule, each.says, each.looser_than_shipped)
        for each in view.findings
        if each.limit_from == "practice"
    )


def _asked(view: PlanView) -> tuple[Answerable, ...]:
    return tuple(
        Answerable(each.id, each.limb, each.title, each.says, wanted)
        for each in view.findings
        if (wanted := must_be_answered(each))
    )


def _cautions(
    access: CaseAccess, view: PlanView, known: Sequence[Acknowledged]
) -> tuple[OpenCaution, ...]:
    """Return the cautions that whoever looks may acknowledge."""
    move = Move.ACKNOWLEDGE_CAUTION
    return open_of(view.findings, known, access.role_for(move)) if access.may(move) else ()


def _waivers(view: PlanView) -> tuple[tuple[str, str], ...]:
    titles = {each.id: f"{each.limb} {each.title}" for each in view.findings}
    return tuple(
        (titles.get(each.finding_id, ""), each.reason or "seen: too close to call")
        for each in view.waivers
    )


def _recheck(view: PlanView) -> tuple[str, date] | None:
    plan = view.plan
    if plan.recheck_owner and plan.recheck_on:
        return plan.recheck_owner, plan.recheck_on
    return None


def _stored_limb(
    view: PlanView, limb: str, limits: tuple[CaseLimit, ...], known: Sequence[Acknowledged]
) -> LimbShown:
    findings = [each for each in view.findings if each.limb == limb]
    predicted = view.judgement.predictions[limb]
    shown = limb_shown(limb, view.limbs[limb], predicted, findings, limits)
    return replace(shown, quiet=quiet_of(limb, findings, known))


def limb_shown(
    limb: str,
    content: Mapping[str, Any],
    predicted: Mapping[str, Any],
    findings: list[Any],
    limits: tuple[CaseLimit, ...],
) -> LimbShown:
    """Return one limb as a page shows it, stored or fresh."""
    mine = [each for each in limits if each.limb in (None, limb)]
    due = {**predicted, "after_fit": predicted["at_due"]}
    due_rows = reading_rows(due, None, findings, mine, stages=("at_due",))
    return LimbShown(
        limb=limb,
        lines=(*plan_lines(content, None, {}), *_along_walls(content, predicted)),
        rows=reading_rows(predicted, None, findings, mine),
        due_rows=tuple(each for each in due_rows if each.predicted),
        findings=tuple(findings),
        assumptions=tuple(predicted["assumptions"]),
        joints=tuple((JOINTS[name], degrees) for name, degrees in predicted["joints"].items()),
        weeks=predicted["weeks"],
        longest=predicted.get("longest", ""),
        notes=tuple(each["text"] for each in predicted["warnings"]),
    )


def _along_walls(content: Mapping[str, Any], predicted: Mapping[str, Any]) -> list[PlanLine]:
    """Return what each trim measures along its wall, where that wall's angle is known."""
    now = predicted["now"]["readings"]
    angles = {
        wall: now[code]["value"]
        for wall, code in (("toe_deg", "dorsal_wall_angle_deg"), ("heel_deg", "heel_angle_deg"))
        if code in now
    }
    return [
        PlanLine(
            f"{PLAN_FIELDS[name][0]}, along the wall",
            f"{along_wall_mm(content[name], angles[wall]):.1f} mm ({angles[wall]:.0f}°)",
        )
        for name, wall in TRIMMED_BY.items()
        if content.get(name) and 0 < angles.get(wall, 0) < STRAIGHT_DEG
    ]


def preview_of(
    session: Session,
    access: CaseAccess,
    judged: Judged,
    plans: Mapping[str, Mapping[str, Any]],
) -> tuple[tuple[LimbShown, ...], str]:
    """Return a plan that is not stored as its page would show it, and the sentence on it."""
    limits = case_limits(session, access.case_id)
    record = predictions_record(judged)
    known = acknowledged_on(session, access.case_id)
    shown = []
    for each in judged.outcomes:
        limb, findings = each.limb, list(each.judgement.findings)
        fresh = limb_shown(limb, plans[limb], record[limb], findings, limits)
        shown.append(replace(fresh, quiet=quiet_of(limb, findings, known)))
    return tuple(shown), summary_told({each.limb: each.findings for each in shown}, known)


@dataclass(frozen=True, slots=True)
class PlanFormPage:
    """The plan form: its limbs, what it starts from, and what whoever writes needs to know."""

    number: int
    revision: int
    n: int
    today: date
    start: Mapping[str, Mapping[str, Any]]
    started_from: str
    why_not: str
    amends: bool
    limits: tuple[CaseLimit, ...]
    recheck_owner: str
    erased_ground: tuple[str, ...]

    @property
    def limbs(self) -> tuple[str, ...]:
        """The limbs to be planned."""
        return tuple(self.start)


def walls_of(session: Session, case_id: UUID, limbs: Sequence[str]) -> Mapping[str, Walls]:
    """Return the angles of each limb's walls, off its newest film or as typed in."""
    found = {}
    for limb in limbs:
        basis = limb_basis(session, case_id, limb)
        film = measure(basis.film.as_core()) if basis.film else Measured()
        readings = merge(film, basis.stated).readings
        toe, heel = readings.get("dorsal_wall_angle_deg"), readings.get("heel_angle_deg")
        found[limb] = Walls(toe.value if toe else None, heel.value if heel else None)
    return found


def plan_form_page(
    session: Session, access: CaseAccess, today: date, *, amends: bool
) -> PlanFormPage:
    """Return what the plan form shows; it starts from the plan before, if there is one."""
    limbs = planned_limbs(session, access.case_id)
    before = plans_of(session, access.case_id)
    start: dict[str, Mapping[str, Any]] = {limb: dict(DEFAULT_LIMB) for limb in limbs}
    started_from = ""
    if before:
        view = plan_of(session, access.case_id, before[0].n)
        kept = {limb: typed_from(view.limbs[limb]) for limb in limbs if limb in view.limbs}
        start.update(kept)
        started_from = f"Filled with plan {before[0].n}; change what differs."
    move = Move.AMEND_PLAN if amends else Move.SUBMIT_PLAN
    return PlanFormPage(
        number=access.number,
        revision=access.revision,
        n=access.state.plan_n + 1,
        today=today,
        start=start,
        started_from=started_from,
        why_not=access.why_not(move),
        amends=amends,
        limits=case_limits(session, access.case_id),
        recheck_owner="vet",
        erased_ground=erased_ground(session, access.case_id, limbs),
    )
