"""The verb of assessments: record one."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.assessments.models import Assessment
from referral.cases.access import CaseAccess
from referral.cases.timeline import NewEntry, append
from referral.core.measure.stated import StatedValue, stated_readings
from referral.core.workflow import Move
from referral.errors import Invalid
from referral.films.service import TypeReadings, type_readings
from referral.storage.ids import new_id

MEASURED_OUTSIDE = "external"


@dataclass(frozen=True, slots=True)
class Assess:
    """What was seen on one limb, and what was measured on it with rule and gauge."""

    limb: str
    seen_on: date
    answers: Mapping[str, Any]
    numbers: Mapping[str, float]
    words: str | None
    happened_on: date


NOTHING = frozenset({"none", "nothing"})
"""Answers that stand alone."""


def assess(session: Session, access: CaseAccess, command: Assess, now: datetime) -> UUID:
    """Record an assessment, and what was measured as readings of the foot itself.

    Raises
    ------
    Invalid
        If nothing at all was seen, measured or said, or nothing and something at once.
    NotAllowed, WrongState
        If this person may not record it, or not now.
    """
    if not (command.answers or command.numbers or command.words):
        raise Invalid("Answer at least one question.", {"": ["Nothing is answered yet."]})
    _check_answers(command.answers)
    readings = _type_in(session, access, command, now) if command.numbers else None
    row = Assessment(
        id=new_id(now),
        case_id=access.case_id,
        limb=command.limb,
        seen_on=command.seen_on,
        answers=dict(command.answers),
        words=command.words,
        reading_set_id=readings,
        recorded_by=access.actor_id,
        recorded_at=now,
    )
    session.add(row)
    session.flush()
    facts = {
        "limb": command.limb,
        "about": "assessment",
        "assessment": str(row.id),
        "answers": dict(command.answers),
    }
    texts = {"words": command.words}
    new = NewEntry(Move.ADD_OBSERVATION, command.happened_on, facts, texts, row.id)
    append(session, access, new, now)
    return row.id


def _check_answers(answers: Mapping[str, Any]) -> None:
    """Refuse what says that there is nothing, and names something beside it."""
    faults = {
        code: ["Untick that there is nothing, or the rest."]
        for code, given in answers.items()
        if isinstance(given, list) and len(given) > 1 and NOTHING.intersection(given)
    }
    if faults:
        raise Invalid("Nothing and something cannot both be.", faults)


def _type_in(session: Session, access: CaseAccess, command: Assess, now: datetime) -> UUID:
    said = {
        code: StatedValue(value, scale=MEASURED_OUTSIDE) for code, value in command.numbers.items()
    }
    typed = TypeReadings(command.limb, command.seen_on, stated_readings(said), command.happened_on)
    return type_readings(session, access, typed, now)
