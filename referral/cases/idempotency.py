"""A form sent twice is done once: its own key, the hash of what it said, where it led."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.models import IdempotencyKey
from referral.errors import OutOfDate
from referral.storage.ids import new_id


def answered_before(session: Session, person_id: UUID, key: str, body_sha256: str) -> str | None:
    """Return where the same form led when it was sent before, or None if it was not.

    Raises
    ------
    OutOfDate
        If the key was used for a form that said something else.
    """
    row = session.scalars(
        select(IdempotencyKey).where(
            IdempotencyKey.person_id == person_id, IdempotencyKey.key == key
        )
    ).one_or_none()
    if row is None:
        return None
    if row.body_sha256 != body_sha256:
        raise OutOfDate("This form was sent before with other content; open it anew.")
    return row.location


def remember(
    session: Session, person_id: UUID, key: str, body_sha256: str, location: str, now: datetime
) -> None:
    """Keep where a form led, in the same transaction as what it did."""
    session.add(
        IdempotencyKey(
            id=new_id(now),
            person_id=person_id,
            key=key,
            body_sha256=body_sha256,
            location=location,
            made_at=now,
        )
    )
    session.flush()
