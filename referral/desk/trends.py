"""The case over its visits: each reading as a series with its limit, resets, and what it says."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from markupsafe import Markup
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.note_kinds import LABELS
from referral.cases.notes import hides_pain, notes_of
from referral.core.measure.readings import Reading
from referral.core.measure.registry import MEASURES
from referral.core.rules.finding import CaseLimit
from referral.core.trend.line import line_through
from referral.core.trend.series import SCALED, Kind, Point, change_between, series_of
from referral.core.workflow import Move
from referral.desk.promises import Answer, Promise, change_says, point_says, promises_of
from referral.films.conventions import convention_aside
from referral.films.models import Film
from referral.films.queries import pictures_of, reading_sets
from referral.plans.own_growth import own_rates_of
from referral.plans.queries import case_limits
from referral.resets.models import Reset
from referral.resets.queries import limbs_of_resets, resets_of
from referral.web.charts import VisitPoint, line_chart
from referral.web.written import number, quantity

FEWEST_POINTS = 2
NOT_YET = "not known from its own resets yet: it takes two of them, and films of one definition"
BASES = {"film": "films", "stated": "typed in", "photo": "photos", "foot_frame": "foot frame"}


@dataclass(frozen=True, slots=True)
class Trend:
    """One reading of one limb over the visits."""

    limb: str
    code: str
    name: str
    basis: str
    source: str
    unit: str
    svg: Markup
    points: tuple[tuple[date, str], ...]
    says: tuple[str, ...]
    limit: str
    is_limited: bool


@dataclass(frozen=True, slots=True)
class Grade:
    """How lame one limb was seen to be, on its own scale, and whether anything hid it."""

    limb: str
    scale: str
    on: date
    grade: str
    gait: str
    words: str
    is_hidden: bool


@dataclass(frozen=True, slots=True)
class PhotoPair:
    """The first and the last photo of one limb from one side, for looking from one to the other."""

    limb: str
    view: str
    before: Film
    after: Film


@dataclass(frozen=True, slots=True)
class TrendsPage:
    """Everything that the page of trends prints."""

    number: int
    trends: tuple[Trend, ...]
    promises: tuple[Promise, ...]
    answers: tuple[Answer, ...]
    growth: tuple[tuple[str, str], ...]
    grades: tuple[Grade, ...]
    photos: tuple[PhotoPair, ...]


def trends_page(session: Session, access: CaseAccess) -> TrendsPage:
    """Return the case over its visits."""
    resets = _in_force(resets_of(session, access.case_id))
    limits = case_limits(session, access.case_id)
    visits: dict[str, list[tuple[date, Mapping[str, Reading]]]] = {}
    for reading_set, measured in reversed(reading_sets(session, access.case_id)):
        visits.setdefault(reading_set.limb, []).append((reading_set.taken_on, measured.readings))
    on_limb = limbs_of_resets(session, [each.id for each in resets])
    promises, answers = promises_of(session, access.case_id, resets)
    trends = [
        _trend(
            f"{limb}-{place}",
            limb,
            kind,
            points,
            [each for each in limits if each.limb in (None, limb)],
            {each.n: each.fitted_on for each in resets if limb in on_limb[each.id]},
        )
        for limb, seen in sorted(visits.items())
        for place, (kind, points) in enumerate(series_of(seen).items())
        if len(points) >= FEWEST_POINTS and kind.code in MEASURES
    ]
    trends.sort(key=lambda each: _place(each, limits))
    return TrendsPage(
        number=access.number,
        trends=tuple(trends),
        promises=promises,
        answers=answers,
        growth=tuple(_growth(session, access.case_id, limb) for limb in sorted(visits)),
        grades=_grades(session, access.case_id),
        photos=_photo_pairs(pictures_of(session, access.case_id)),
    )


def _place(trend: Trend, limits: Sequence[CaseLimit]) -> tuple[str, bool, int]:
    """Return where a trend stands: by limb, the limited readings first."""
    limbs = {each.limb for each in limits if each.measure == trend.code}
    return trend.limb, limbs.isdisjoint({None, trend.limb}), list(MEASURES).index(trend.code)


def _in_force(resets: Sequence[Reset]) -> list[Reset]:
    """Return one row a reset, the last correction, oldest first."""
    latest: dict[int, Reset] = {}
    for each in resets:
        latest.setdefault(each.n, each)
    return [latest[n] for n in sorted(latest)]


def _trend(
    chart_id: str,
    limb: str,
    kind: Kind,
    points: Sequence[Point],
    limits: Sequence[CaseLimit],
    resets: Mapping[int, date],
) -> Trend:
    measure = MEASURES[kind.code]
    mine = [each for each in limits if each.measure == kind.code and each.stage != "change"]
    at_least = max((x.at_least for x in mine if x.at_least is not None), default=None)
    at_most = min((x.at_most for x in mine if x.at_most is not None), default=None)
    svg = line_chart(
        chart_id,
        measure.name,
        measure.unit,
        [VisitPoint(each.on, each.value, each.u) for each in points],
        at_least=at_least,
        at_most=at_most,
        resets=resets,
    )
    return Trend(
        limb=limb,
        code=kind.code,
        name=measure.name,
        basis=kind.basis,
        source=_source(kind),
        is_limited=bool(mine),
        unit=measure.unit,
        svg=svg,
        points=tuple((each.on, point_says(each, measure.unit)) for each in points),
        says=_says(points, measure.unit),
        limit=_limit_says(at_least, at_most, measure.unit),
    )


def _source(kind: Kind) -> str:
    scale = "" if kind.scale in ("", SCALED) else f"scale {kind.scale}"
    aside = convention_aside(kind.code, kind.convention)
    return ", ".join(part for part in (BASES.get(kind.basis, ""), scale, aside) if part)


def _limit_says(at_least: float | None, at_most: float | None, unit: str) -> str:
    said = [
        f"{words} {quantity(bound, unit)}"
        for words, bound in (("at least", at_least), ("at most", at_most))
        if bound is not None
    ]
    return " and ".join(said)


def _says(points: Sequence[Point], unit: str) -> tuple[str, ...]:
    said = [f"Since the first visit: {change_says(change_between(points[0], points[-1]), unit)}"]
    if len(points) > FEWEST_POINTS:
        last = change_between(points[-2], points[-1])
        said.append(f"Since the visit before: {change_says(last, unit)}")
    line = line_through(points)
    if line is not None:
        slope = f"{number(line.per_week, 2)} ± {number(2 * line.per_week_u, 2)}"
        real = "" if line.is_real else ", which is within error"
        said.append(f"Over all visits: {slope} {'°' if unit == 'deg' else unit} a week{real}.")
    return tuple(said)


def _growth(session: Session, case_id: UUID, limb: str) -> tuple[str, str]:
    own = own_rates_of(session, case_id, limb)
    said = [
        f"{words} {number(rate.per_week, 2)} ± "
        f"{number(2 * abs(rate.per_week) * rate.relative_u, 2)} {unit} a week ({rate.source})"
        for words, rate, unit in (
            ("wall grows", own.wall_growth_mm, "mm"),
            ("palmar angle drifts", own.palmar_angle_drift_deg, "°"),
        )
        if rate is not None
    ]
    return limb, "; ".join(said) or NOT_YET


def _grades(session: Session, case_id: UUID) -> tuple[Grade, ...]:
    """Return every grade of lameness, oldest first, each limb and scale together."""
    given = notes_of(session, case_id, Move.NOTE_MEDICATION)
    grades = [
        Grade(
            limb=note.facts["limb"],
            scale=LABELS[note.facts["scale"]],
            on=note.entry.happened_on,
            grade=f"{note.facts['grade']:g}",
            gait=LABELS[note.facts["gait"]],
            words=note.texts.get("words", ""),
            is_hidden=any(hides_pain(each, note.entry.happened_on) for each in given),
        )
        for note in reversed(notes_of(session, case_id, Move.GRADE_LAMENESS))
    ]
    return tuple(sorted(grades, key=lambda each: (each.limb, each.scale)))


def _photo_pairs(films: Sequence[Film]) -> tuple[PhotoPair, ...]:
    seen: dict[tuple[str, str], list[Film]] = {}
    for film in reversed(films):
        if film.view.endswith("_photo"):
            seen.setdefault((film.limb, film.view), []).append(film)
    return tuple(
        PhotoPair(limb, view, taken[0], taken[-1])
        for (limb, view), taken in sorted(seen.items())
        if taken[0].taken_on != taken[-1].taken_on
    )
