"""The closing report: the outcome, and the course over the resets."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.queries import person_by_id
from referral.cases.access import CaseAccess
from referral.cases.choices import CONDITIONS, OUTCOMES
from referral.cases.models import Case, Closure
from referral.cases.queries import current_problems, flags_of
from referral.core.measure.readings import Reading
from referral.core.measure.registry import MEASURES
from referral.core.rules.finding import CaseLimit
from referral.core.trend.series import SCALED, Kind, Point, change_between, series_of
from referral.errors import Invalid
from referral.films.conventions import convention_aside
from referral.films.queries import films_of, reading_sets
from referral.plans.models import JudgementRow, PlanRow
from referral.plans.queries import case_limits
from referral.plans.rows import Value
from referral.resets.models import Countersign, Deviation, Reset
from referral.resets.queries import resets_of
from referral.sheets.making import Frame, framed
from referral.sheets.snapshot import SeriesShown, Snapshot, Told, VisitShown
from referral.sheets.wording import LIMBS
from referral.storage.blobs import BlobStore
from referral.web.written import day

COURSE_CODES = (
    "palmar_angle_deg",
    "dorsal_wall_angle_deg",
    "breakover_distance_mm",
    "behind_centre_percent",
    "sole_depth_tip_mm",
)
"""The readings that a course is told by, beside those that the vet limited."""

SOURCES = {"film": "films", "stated": "typed in", "photo": "photos", "foot_frame": "the foot"}
FEWEST_POINTS = 2


def closing_snapshot(
    session: Session,
    access: CaseAccess,
    _blobs: BlobStore,
    frame: Frame,
    _pictures: dict[str, bytes],
) -> Snapshot:
    """Return a closed case's outcome and course, frozen.

    Raises
    ------
    Invalid
        If the case was never closed.
    """
    closure = session.scalars(
        select(Closure)
        .where(Closure.case_id == access.case_id)
        .order_by(Closure.closed_at.desc())
        .limit(1)
    ).one_or_none()
    if closure is None:
        raise Invalid("The case is not closed yet.")
    visits = visits_of(session, access.case_id)
    told = (_outcome(session, access, closure, frame.words), _course(session, access, visits))
    return framed(
        session,
        access,
        frame,
        about=tuple(sorted({each.limb for each in visits} or _limbs(session, access))),
        told=told,
        series=series_shown(session, access.case_id),
        visits=visits,
    )


def _limbs(session: Session, access: CaseAccess) -> set[str]:
    return {each.limb for each in current_problems(session, access.case_id)}


def _outcome(session: Session, access: CaseAccess, closure: Closure, words: str | None) -> Told:
    problems = [
        (
            LIMBS[each.limb],
            f"{dict(CONDITIONS).get(each.condition, each.condition)}, {each.certainty}",
        )
        for each in current_problems(session, access.case_id)
    ]
    said = (
        ("Outcome", dict(OUTCOMES).get(closure.outcome, closure.outcome)),
        ("Closed", f"{day(closure.closed_at)}, {person_by_id(session, closure.closed_by).name}"),
        ("What was learned", closure.words),
        ("From the vet", words),
        *problems,
    )
    return Told("Outcome", tuple((label, value) for label, value in said if value))


def _course(session: Session, access: CaseAccess, visits: Sequence[VisitShown]) -> Told:
    opened = session.get_one(Case, access.case_id).opened_at
    plans = session.scalars(select(PlanRow.id).where(PlanRow.case_id == access.case_id)).all()
    films = [each for each in films_of(session, access.case_id) if not each.view.endswith("_photo")]
    flags = flags_of(session, access.case_id)
    days = sorted({each.fitted_on for each in visits})
    resets = len({each.n for each in visits})
    between = f", from {day(days[0])} to {day(days[-1])}" if days else ""
    facts = (
        ("Opened", day(opened)),
        ("Resets", f"{resets}{between}"),
        ("Plans", str(len(plans))),
        ("Films", str(len(films))),
        ("Red flags", f"{len(flags)} raised" if flags else "none"),
    )
    return Told("The course", facts)


def visits_of(session: Session, case_id: UUID) -> tuple[VisitShown, ...]:
    """Return every reset in its record in force, limb by limb, oldest first."""
    latest: dict[int, Reset] = {}
    for reset in resets_of(session, case_id):
        latest.setdefault(reset.n, reset)
    resets = [latest[n] for n in sorted(latest)]
    ids = [each.id for each in resets]
    judged = {
        row.reset_id: row
        for row in session.scalars(
            select(JudgementRow)
            .where(JudgementRow.reset_id.in_(ids))
            .order_by(JudgementRow.judged_at)
        )
    }
    differing = Counter(
        (row.reset_id, row.limb)
        for row in session.scalars(select(Deviation).where(Deviation.reset_id.in_(ids)))
    )
    answers = dict(
        session.execute(
            select(Countersign.reset_id, Countersign.decision)
            .where(Countersign.reset_id.in_(ids))
            .order_by(Countersign.signed_at)
        ).all()
    )
    plans = _plan_numbers(session, case_id)
    return tuple(
        VisitShown(
            n=reset.n,
            fitted_on=reset.fitted_on,
            limb=limb,
            plan_n=plans[reset.plan_id],
            readings=_after_fitting(foretold),
            differences=differing[reset.id, limb],
            answer=answers.get(reset.id, "not countersigned").replace("_", " "),
        )
        for reset in resets
        for limb, foretold in sorted(judged[reset.id].predictions.items())
    )


def _plan_numbers(session: Session, case_id: UUID) -> dict[UUID, int]:
    rows = session.execute(select(PlanRow.id, PlanRow.n).where(PlanRow.case_id == case_id))
    return dict(rows.all())


def _after_fitting(foretold: Mapping[str, Any]) -> tuple[tuple[str, Value], ...]:
    readings = foretold["after_fit"]["readings"]
    return tuple(
        (code, Value(readings[code]["value"], readings[code]["u"]))
        for code in COURSE_CODES
        if code in readings
    )


def series_shown(session: Session, case_id: UUID) -> tuple[SeriesShown, ...]:
    """Return the limited and the telling readings over the visits, limited ones first."""
    limits = case_limits(session, case_id)
    seen: dict[str, list[tuple[date, Mapping[str, Reading]]]] = {}
    for reading_set, measured in reversed(reading_sets(session, case_id)):
        seen.setdefault(reading_set.limb, []).append((reading_set.taken_on, measured.readings))
    limited = {each.measure for each in limits}
    shown = [
        _series(limb, kind, points, [each for each in limits if each.limb in (None, limb)])
        for limb, visits in sorted(seen.items())
        for kind, points in series_of(visits).items()
        if len(points) >= FEWEST_POINTS
        and kind.code in MEASURES
        and (kind.code in COURSE_CODES or kind.code in limited)
    ]
    order = list(MEASURES)
    shown.sort(key=lambda each: (each.limb, each.code not in limited, order.index(each.code)))
    return tuple(shown)


def _series(
    limb: str, kind: Kind, points: Sequence[Point], limits: Sequence[CaseLimit]
) -> SeriesShown:
    mine = [each for each in limits if each.measure == kind.code and each.stage != "change"]
    change = change_between(points[0], points[-1])
    scale = "" if kind.scale in ("", SCALED) else f"scale {kind.scale}"
    aside = convention_aside(kind.code, kind.convention)
    source = (SOURCES.get(kind.basis, kind.basis), scale, aside)
    return SeriesShown(
        limb=limb,
        code=kind.code,
        name=MEASURES[kind.code].name,
        unit=MEASURES[kind.code].unit,
        source=", ".join(part for part in source if part),
        points=tuple((each.on, Value(each.value, each.u)) for each in points),
        change=Value(change.value, change.u),
        is_real=change.is_real,
        at_least=max((x.at_least for x in mine if x.at_least is not None), default=None),
        at_most=min((x.at_most for x in mine if x.at_most is not None), default=None),
    )
