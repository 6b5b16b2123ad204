"""How fast this horse's own feet change, out of its resets on the case."""

from collections.abc import Mapping, Sequence
from datetime import date
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.core.measure.readings import Reading
from referral.core.predict.growth import OwnRates
from referral.core.predict.own_rates import Cycle, own_rates
from referral.films.models import Film
from referral.films.queries import reading_sets
from referral.plans.fittings import fittings_of

DAYS_A_WEEK = 7
FEWEST_RESETS = 2


def own_rates_of(session: Session, case_id: UUID, limb: str) -> OwnRates:
    """Return what the limb's own resets say; nothing before there are two of them."""
    fittings = fittings_of(session, case_id, limb)
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
            wedge_deg = fitting.content.get("wedge_deg") or 0.0
            cycles.append(Cycle(weeks, fitting.readings, readings, wedge_deg, shod))
    return own_rates(cycles)


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
