"""What a person changes about what they are told."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.errors import NotFound
from referral.inbox.tokens import Ending
from referral.notices.models import MailChoice, Notice
from referral.notices.policy import Wishes
from referral.notices.queries import wishes_of
from referral.notices.service import see_to_mail


@dataclass(frozen=True, slots=True)
class Choose:
    """What mail a person wants from now on."""

    wishes: Wishes


def mark_all_read(session: Session, person_id: UUID, now: datetime) -> None:
    """Note that this person has seen everything in their inbox."""
    session.execute(
        update(Notice)
        .where(Notice.person_id == person_id, Notice.read_at.is_(None))
        .values(read_at=now)
    )


def mark_one_read(session: Session, person_id: UUID, notice_id: UUID, now: datetime) -> None:
    """Note that this person has seen one notice of theirs.

    Raises
    ------
    NotFound
        If it is nobody's, or another's.
    """
    notice = session.scalars(
        select(Notice).where(Notice.id == notice_id, Notice.person_id == person_id)
    ).one_or_none()
    if notice is None:
        raise NotFound("There is no such notice.")
    notice.read_at = notice.read_at or now


def choose(session: Session, person_id: UUID, command: Choose, now: datetime) -> None:
    """Keep what mail a person wants, and see at once to what waits by the old wishes."""
    wishes = command.wishes
    session.merge(
        MailChoice(
            person_id=person_id,
            without=sorted(wishes.without),
            rhythm="daily" if wishes.daily else "at_once",
            daily_hour=wishes.daily_hour,
            quiet_from=wishes.quiet_from,
            quiet_until=wishes.quiet_until,
            zone=wishes.zone,
            changed_at=now,
        )
    )
    see_to_mail(session, person_id, now)


def end_mail(session: Session, ending: Ending, zone: str, now: datetime) -> None:
    """Let a person be without mail on the topics of an address in a mail; nothing else changes.

    Raises
    ------
    NotFound
        If there is no such person.
    """
    if session.get(Person, ending.person_id) is None:
        raise NotFound("There is no such page.")
    present = wishes_of(session, ending.person_id, zone)
    if not ending.topics <= present.without:
        _go_without(session, ending, present, present.without | ending.topics, now)


def has_ended(session: Session, ending: Ending, zone: str) -> bool:
    """Say whether a person is without mail on the topics of an address already."""
    return ending.topics <= wishes_of(session, ending.person_id, zone).without


def resume_mail(session: Session, ending: Ending, zone: str, now: datetime) -> None:
    """Send a person mail again on the topics of an address in a mail; nothing else changes."""
    present = wishes_of(session, ending.person_id, zone)
    if ending.topics & present.without:
        _go_without(session, ending, present, present.without - ending.topics, now)


def _go_without(
    session: Session, ending: Ending, present: Wishes, without: Collection[str], now: datetime
) -> None:
    wishes = replace(present, without=frozenset(str(each) for each in without))
    choose(session, ending.person_id, Choose(wishes), now)
