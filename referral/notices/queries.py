"""Reads on notices and on what mail people want."""

from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.notices.models import MailChoice, Notice
from referral.notices.policy import Wishes
from referral.storage.together import Rows


def unread_count(session: Session, person_id: UUID) -> int:
    """Return how many notices this person has not read."""
    counted = select(func.count(Notice.id)).where(
        Notice.person_id == person_id, Notice.read_at.is_(None)
    )
    return session.scalar(counted) or 0


def select_unread(person_id: Any) -> Rows:  # noqa: ANN401 - an id, or the place it is put in
    """Return the query for how many notices this person has not read, by case."""
    return (
        select(Notice.case_id, func.count(Notice.id).label("unread"))
        .where(Notice.person_id == person_id, Notice.read_at.is_(None))
        .group_by(Notice.case_id)
    )


def wishes_of(session: Session, person_id: UUID, zone: str) -> Wishes:
    """Return what mail a person wants; ``zone`` is that of somebody who never chose."""
    row = session.get(MailChoice, person_id)
    if row is None:
        return Wishes(zone)
    return Wishes(
        zone=row.zone,
        without=frozenset(row.without),
        daily=row.rhythm == "daily",
        daily_hour=row.daily_hour,
        quiet_from=row.quiet_from,
        quiet_until=row.quiet_until,
    )
