"""Visits: book one by the clock of the yard, move it, call it off."""

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.timeline import NewEntry, append
from referral.core.diary import OnTheClock, wall_time
from referral.core.workflow import Move
from referral.errors import Invalid

TWICE = "The clocks change that day and this time comes twice: say which."
MISSING = "The clocks change that day and this time is left out: choose another."


@dataclass(frozen=True, slots=True)
class BookVisit:
    """A visit of the vet's or the farrier's; it takes the place of the one booked before.

    Without a day the visit is called off. ``hour`` says which one is meant where a time
    comes twice: ``first`` or ``second``.
    """

    comes: str
    visit_on: date | None
    visit_at: time | None
    hour: str | None
    words: str | None
    happened_on: date


def book_visit(session: Session, access: CaseAccess, command: BookVisit, now: datetime) -> UUID:
    """Book a visit, or call off the one that is booked.

    Raises
    ------
    Invalid
        If the time is not on the yard's clock that day, or comes twice and nobody says which.
    """
    facts: dict[str, Any] = {"comes": command.comes}
    if command.visit_on is None:
        facts["called_off"] = True
    else:
        facts |= _when(command.visit_on, command, access.zone)
    texts = {"words": command.words}
    new = NewEntry(Move.BOOK_VISIT, command.happened_on, facts, texts)
    return append(session, access, new, now).id


def _when(day: date, command: BookVisit, zone: str) -> dict[str, Any]:
    if day < command.happened_on:
        raise Invalid("This day has passed.", {"visit_on": ["Book a day that is still to come."]})
    if command.visit_at is None:
        raise Invalid("Say at what time.", {"visit_at": ["Give a time of the yard's clock."]})
    found = wall_time(day, command.visit_at, zone)
    if found.kind is OnTheClock.MISSING:
        raise Invalid(MISSING, {"visit_at": [MISSING]})
    if found.kind is OnTheClock.TWICE and command.hour is None:
        raise Invalid(TWICE, {"hour": [TWICE]})
    moment = found.moments[-1 if command.hour == "second" else 0]
    return {
        "visit_on": day.isoformat(),
        "visit_at": f"{command.visit_at:%H:%M}",
        "zone": zone,
        "moment": moment.isoformat(),
    }
