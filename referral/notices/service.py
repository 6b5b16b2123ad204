"""Leaving a notice, and the mail's work with it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.notices.models import Notice
from referral.storage.ids import new_id
from referral.storage.jobs import enqueue

SEE_TO_MAIL = "see_to_mail"
"""The work of deciding which letters are due to a person."""


@dataclass(frozen=True, slots=True)
class Happened:
    """What is told of: a case's entry, by its kind; or what came of itself, by its facts."""

    case_id: UUID
    kind: str
    entry_id: UUID | None
    facts: Mapping[str, Any] | None = None


def tell(session: Session, people: Iterable[UUID], what: Happened, now: datetime) -> None:
    """Leave each of these people a notice and see to their mail, all in the present transaction."""
    for person_id in sorted(people):
        session.add(
            Notice(
                id=new_id(now),
                person_id=person_id,
                case_id=what.case_id,
                kind=what.kind,
                made_at=now,
                entry_id=what.entry_id,
                facts=dict(what.facts) if what.facts else None,
            )
        )
        see_to_mail(session, person_id, now)


def see_to_mail(
    session: Session, person_id: UUID, now: datetime, after: datetime | None = None
) -> None:
    """Have it decided later which letters are due to this person."""
    enqueue(session, SEE_TO_MAIL, {"person_id": str(person_id)}, now, after)
