"""Reads on notices and on what mail people want."""

from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.notices.models import MailChoice, Notice
from referral.notices.policy import Wishes


def unread_count(session: Session, person_id: UUID) -> int:
    """Return how many notices this person has not read."""
    counted = select(func.count(Notice.id)).where(
        Notice.person_id == person_id, Notice.read_at.is_(None)
    )
    return session.scalar(counted) or 0


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
