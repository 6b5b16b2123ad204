"""What plans promised, beside what was fitted and beside what the next film measured."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.core.measure.readings import Reading
from referral.core.measure.registry import MEASURES
from referral.core.trend.series import Change, Point, kind_of, promised_beside_achieved
from referral.films.conventions import convention_from
from referral.films.models import Film
from referral.films.queries import reading_sets
from referral.plans.models import JudgementRow
from referral.resets.models import Reset
from referral.web.written import day, places_of, quantity, with_u

KEPT_CODES = (
    "palmar_angle_deg",
    "dorsal_wall_angle_deg",
    "breakover_distance_mm",
    "behind_centre_percent",
    "sole_depth_tip_mm",
)
"""What is promised beside what was achieved: the readings that a plan is made for."""

SAME = 0.05
"""Half of the last decimal that is printed."""

ANSWERS_WITHIN_DAYS = 14
"""How far from the day of a promise a film still answers for it (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Promise:
    """What a plan promised for after the fitting beside what was fitted, of one reading."""

    reset_n: int
    limb: str
    name: str
    promised: str
    achieved: str
    says: str


@dataclass(frozen=True, slots=True)
class Answer:
    """What a plan promised for a day beside what the next film measured, of one reading."""

    reset_n: int
    limb: str
    name: str
    for_when: str
    promised: str
    film_on: date
    measured: str
    says: str


@dataclass(frozen=True, slots=True)
class _Filmed:
    """What one film of one limb measured, and when it was taken of the foot."""

    limb: str
    on: date
    trim: str
    readings: Mapping[str, Reading]


def promises_of(
    session: Session, case_id: UUID, resets: Sequence[Reset]
) -> tuple[tuple[Promise, ...], tuple[Answer, ...]]:
    """Return what was promised at each reset beside what was fitted, and beside the next film."""
    rows = session.scalars(
        select(JudgementRow)
        .where(JudgementRow.plan_id.in_([each.plan_id for each in resets]))
        .order_by(JudgementRow.judged_at)
    ).all()
    planned = {row.plan_id: row for row in rows if row.reset_id is None}
    fitted = {row.reset_id: row for row in rows if row.reset_id is not None}
    filmed = _filmed(session, case_id)
    promises: list[Promise] = []
    answers: list[Answer] = []
    nexts: list[date | None] = [each.fitted_on for each in resets[1:]]
    for reset, until in zip(resets, [*nexts, None], strict=False):
        before, after = planned.get(reset.plan_id), fitted.get(reset.id)
        if before is not None and after is not None:
            promises.extend(_kept(reset, before, after))
        if before is not None:
            answers.extend(_answered(reset, before, _between(filmed, reset.fitted_on, until)))
    return tuple(promises), tuple(answers)


def _kept(reset: Reset, before: JudgementRow, after: JudgementRow) -> list[Promise]:
    found = []
    for limb in sorted(set(before.predictions) & set(after.predictions)):
        promised = before.predictions[limb]["after_fit"]["readings"]
        achieved = after.predictions[limb]["after_fit"]["readings"]
        for code in KEPT_CODES:
            if code in promised and code in achieved:
                first = Point(reset.fitted_on, promised[code]["value"], promised[code]["u"])
                last = Point(reset.fitted_on, achieved[code]["value"], achieved[code]["u"])
                unit = MEASURES[code].unit
                apart = last.value - first.value
                # both rest on one film, so only the difference of the plans is between them
                says = (
                    "as promised"
                    if abs(apart) < SAME
                    else f"{quantity(apart, unit, places_of(unit))} apart"
                )
                name = MEASURES[code].name
                stood = (point_says(first, unit), point_says(last, unit))
                found.append(Promise(reset.n, limb, name, *stood, says))
    return found


def _filmed(session: Session, case_id: UUID) -> list[_Filmed]:
    """Return what films from the side measured, oldest first; of one measured twice the newest."""
    films = {
        film.id: film
        for film in session.scalars(
            select(Film).where(Film.case_id == case_id, Film.view == "lateromedial")
        )
    }
    newest: dict[UUID, _Filmed] = {}
    for taken, measured in reversed(reading_sets(session, case_id)):
        film = films.get(taken.film_id) if taken.film_id else None
        if film is not None:
            newest[film.id] = _Filmed(film.limb, film.taken_on, film.trim, measured.readings)
    return sorted(newest.values(), key=lambda each: each.on)


def _between(filmed: Iterable[_Filmed], fitted_on: date, until: date | None) -> list[_Filmed]:
    """Return the films that show a fitting: after it, and before the next trim."""
    return [
        each
        for each in filmed
        if (each.on > fitted_on or (each.on == fitted_on and each.trim == "after"))
        and (until is None or each.on < until or (each.on == until and each.trim == "before"))
    ]


def _answered(reset: Reset, before: JudgementRow, filmed: Sequence[_Filmed]) -> list[Answer]:
    stages = (("after_fit", reset.fitted_on), ("at_due", reset.due_on))
    found = []
    for limb, foretold in sorted(before.predictions.items()):
        mine = [each for each in filmed if each.limb == limb]
        for stage, for_day in stages:
            for code in KEPT_CODES:
                answer = _answer(reset.n, limb, code, (stage, for_day), foretold, mine)
                found += [] if answer is None else [answer]
    return found


def _answer(
    reset_n: int,
    limb: str,
    code: str,
    of: tuple[str, date],
    foretold: Mapping[str, Any],
    filmed: Sequence[_Filmed],
) -> Answer | None:
    """Return what the nearest film of the same kind says to one promise; None if there is none."""
    stage, for_day = of
    said = foretold.get(stage, {}).get("readings", {}).get(code)
    if said is None:
        return None
    convention = convention_from(foretold.get("conventions", {}).get(code))
    as_film = Reading(
        code, said["value"], said["u"], said["unit"], said["scale_state"], "film",
        convention=convention,
    )  # fmt: skip
    achieved = [
        Point(each.on, reading.value, reading.u)
        for each in filmed
        if (reading := each.readings.get(code)) and kind_of(reading) == kind_of(as_film)
    ]
    promise = Point(for_day, said["value"], said["u"])
    kept = promised_beside_achieved([promise], achieved, ANSWERS_WITHIN_DAYS)
    if not kept:
        return None
    (one,) = kept
    unit = MEASURES[code].unit
    when = "after the fitting" if stage == "after_fit" else f"when due, {day(for_day)}"
    return Answer(
        reset_n, limb, MEASURES[code].name, when, point_says(one.promised, unit),
        one.achieved.on, point_says(one.achieved, unit),
        change_says(one.change, unit, "difference"),
    )  # fmt: skip


def point_says(point: Point, unit: str) -> str:
    """Return a value with its expanded uncertainty U = 2u, as it is printed."""
    return with_u(point.value, point.u, unit)


def change_says(change: Change, unit: str, what: str = "change") -> str:
    """Return a change in words: how much, and whether it is real or within error."""
    places = places_of(unit)
    size = quantity(change.value, unit, places)
    sign = "+" if change.value > 0 else ""
    if change.is_real:
        return f"{sign}{size}, a real {what}."
    least = quantity(change.least_real, unit, places)
    return f"{sign}{size}, within error (a {what} counts from {least})."
