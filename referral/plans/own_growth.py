"""How fast this horse's own feet change, out of its resets on the case."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.models import Entry
from referral.core.measure.readings import Reading
from referral.core.predict.growth import OwnRates
from referral.core.predict.own_rates import Cycle, own_rates
from referral.core.workflow import Move
from referral.films.models import Film
from referral.films.queries import reading_sets
from referral.plans.models import JudgementRow

DAYS_A_WEEK = 7
FEWEST_RESETS = 2


@dataclass(frozen=True, slots=True)
class _Fitting:
    """One reset: its day, what the foot left with by prediction as fitted, the wedge."""

    on: date
    readings: Mapping[str, Reading]
    wedge_deg: float


def own_rates_of(session: Session, case_id: UUID, limb: str) -> OwnRates:
    """Return what the limb's own resets say; nothing before there are two of them."""
    fittings = _fittings(session, case_id, limb)
    if len(fittings) < FEWEST_RESETS:
        return OwnRates()
    nexts: Sequence[date | None] = [*(each.on for each in fittings[1:]), None]
    returned = _measured_before_trims(session, case_id, limb)
    cycles = []
    for fitting, until in zip(fittings, nexts, strict=True):
        back = [
            each
            for each in returned
            if each[0] > fitting.on and (until is None or each[0] <= until)
        ]
        if back:
            on, readings, shod = back[-1]
            weeks = (on - fitting.on).days / DAYS_A_WEEK
            cycles.append(Cycle(weeks, fitting.readings, readings, fitting.wedge_deg, shod))
    return own_rates(cycles)


def _fittings(session: Session, case_id: UUID, limb: str) -> list[_Fitting]:
    """Return the limb's resets in order; a correction takes the place of what it corrects."""
    entries = session.scalars(
        select(Entry)
        .where(Entry.case_id == case_id, Entry.kind == Move.RECORD_RESET.value)
        .order_by(Entry.seq)
    )
    in_force = {each.content["n"]: each for each in entries}
    judged = {
        row.reset_id: row
        for row in session.scalars(
            select(JudgementRow)
            .where(JudgementRow.reset_id.in_([each.reference for each in in_force.values()]))
            .order_by(JudgementRow.judged_at)
        )
    }
    found = []
    for _n, entry in sorted(in_force.items()):
        row = judged.get(entry.reference)
        predicted = row.predictions.get(limb) if row else None
        if row is None or predicted is None:
            continue
        fitted = json.loads(row.basis)["inputs"]["as_fitted"][limb]
        readings = _readings(predicted["after_fit"]["readings"])
        found.append(_Fitting(entry.happened_on, readings, fitted.get("wedge_deg") or 0.0))
    return found


def _readings(record: Mapping[str, Mapping[str, Any]]) -> dict[str, Reading]:
    return {
        code: Reading(code, at["value"], at["u"], at["unit"], at["scale_state"], at["basis"])
        for code, at in record.items()
    }


def _measured_before_trims(
    session: Session, case_id: UUID, limb: str
) -> list[tuple[date, Mapping[str, Reading], bool]]:
    """Return (day, readings, shod) of films taken before a trim, oldest first."""
    films = {
        film.id: film
        for film in session.scalars(
            select(Film).where(
                Film.case_id == case_id,
                Film.limb == limb,
                Film.view == "lateromedial",
                Film.trim == "before",
                Film.shod.in_(["yes", "no"]),
            )
        )
    }
    newest: dict[UUID, tuple[date, Mapping[str, Reading], bool]] = {}
    for reading_set, measured in reversed(reading_sets(session, case_id, limb)):
        film = films.get(reading_set.film_id) if reading_set.film_id else None
        if film is not None:
            newest[film.id] = (film.taken_on, measured.readings, film.shod == "yes")
    return sorted(newest.values(), key=lambda each: each[0])
