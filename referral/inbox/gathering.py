"""Which letters are due to a person: decided in the transaction that makes them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.inbox.queries import Part, part_shown, parts_of
from referral.notices.models import Letter, Notice
from referral.notices.policy import Wishes, goes_at, is_urgent, is_wanted
from referral.notices.queries import wishes_of
from referral.notices.service import see_to_mail
from referral.settings import Settings
from referral.storage.ids import new_id
from referral.storage.jobs import Finish, Handler, enqueue

SEND_LETTER = "send_letter"


@dataclass(frozen=True, slots=True)
class Sorted:
    """What is to be done with a person's notices: no letter, a letter now, or one from a moment."""

    unneeded: tuple[Notice, ...]
    due: tuple[Notice, ...]
    next_at: datetime | None


def letter_maker(settings: Settings, now: Callable[[], datetime]) -> Handler:
    """Return how it is decided which letters are due."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        person_id = UUID(payload["person_id"])
        return lambda session: make_letters(session, person_id, settings, now())

    return Handler(prepare, lambda _payload: lambda _session: None)


def make_letters(session: Session, person_id: UUID, settings: Settings, now: datetime) -> None:
    """Make the letters that are due and have them sent; come back when others will be.

    The person's row is locked, so that of two workers one makes the letter.
    """
    person = session.scalars(
        select(Person).where(Person.id == person_id).with_for_update(key_share=True)
    ).one()
    waiting = session.scalars(
        select(Notice)
        .where(Notice.person_id == person_id, Notice.settled_at.is_(None))
        .order_by(Notice.made_at, Notice.id)
    ).all()
    parts = parts_of(session, person_id, {each.case_id for each in waiting})
    reachable = settings.mail_host is not None and person.revoked_at is None
    wishes = wishes_of(session, person_id, settings.zone)
    found = sort_notices(waiting, parts if reachable else {}, wishes, now)
    for each in found.unneeded:
        each.settled_at = now
    urgent = [each for each in found.due if is_urgent(each.kind)]
    for batch in (urgent, [each for each in found.due if each not in urgent]):
        if batch:
            _put_in_letter(session, person_id, batch, now)
    if found.next_at is not None:
        see_to_mail(session, person_id, now, found.next_at)


def sort_notices(
    waiting: Sequence[Notice], parts: Mapping[UUID, Part], wishes: Wishes, now: datetime
) -> Sorted:
    """Return which notices need no letter, which are due, and when the next will be."""
    unneeded, due, later = [], [], []
    for each in waiting:
        part = part_shown(each, parts)
        if part is None or each.read_at or not is_wanted(wishes, each.kind, part.roles):
            unneeded.append(each)
            continue
        moment = goes_at(wishes, each.kind, each.made_at)
        if moment <= now:
            due.append(each)
        else:
            later.append(moment)
    return Sorted(tuple(unneeded), tuple(due), min(later, default=None))


def _put_in_letter(
    session: Session, person_id: UUID, notices: Sequence[Notice], now: datetime
) -> None:
    letter = Letter(id=new_id(now), person_id=person_id, made_at=now)
    session.add(letter)
    session.flush()
    for each in notices:
        each.letter_id, each.settled_at = letter.id, now
    enqueue(session, SEND_LETTER, {"letter_id": str(letter.id)}, now)
