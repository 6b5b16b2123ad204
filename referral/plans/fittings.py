"""What was fitted to one limb at each reset on the case, oldest first."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.models import Entry
from referral.core.measure.readings import Reading
from referral.core.workflow import Move
from referral.films.conventions import convention_from
from referral.plans.models import JudgementRow

DEVICE_MOVES = (Move.STEP_DOWN.value, Move.RENEW_DEVICE.value)


@dataclass(frozen=True, slots=True)
class Fitting:
    """One reset: its day and place in the timeline, what was fitted, and what that foretold."""

    on: date
    seq: int
    content: Mapping[str, Any]
    readings: Mapping[str, Reading]


def fittings_of(session: Session, case_id: UUID, limb: str) -> list[Fitting]:
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
        content = json.loads(row.basis)["inputs"]["as_fitted"][limb]
        conventions = predicted.get("conventions", {})
        readings = _readings(predicted["after_fit"]["readings"], conventions)
        found.append(Fitting(entry.happened_on, entry.seq, content, readings))
    return found


def reasoned_at(session: Session, case_id: UUID, limb: str) -> int:
    """Return where in the timeline the limb's device was last stepped down or kept on; else 0."""
    entries = session.scalars(
        select(Entry)
        .where(Entry.case_id == case_id, Entry.kind.in_(DEVICE_MOVES))
        .order_by(Entry.seq.desc())
    )
    return next((each.seq for each in entries if each.content.get("limb") == limb), 0)


def _readings(
    record: Mapping[str, Mapping[str, Any]], conventions: Mapping[str, Mapping[str, Any] | None]
) -> dict[str, Reading]:
    """Return readings as foretold, each by the definition of the reading it was foretold from."""
    return {
        code: Reading(
            code,
            at["value"],
            at["u"],
            at["unit"],
            at["scale_state"],
            at["basis"],
            convention=convention_from(conventions.get(code)),
        )
        for code, at in record.items()
    }
