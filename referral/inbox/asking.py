"""Writing to an address that is asked onto a case: when, and what the letter says.

Whether somebody has an account under it changes nothing that whoever asked could see. One who has
turned mail about cases off is not written to, nor in their quiet hours, nor an address that wants
no letters; nobody is about the same case twice within a day.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.accounts.queries import find_person_by_email
from referral.cases.invitations import WRITE_TO_ASKED, Asked, asked_in, open_ones
from referral.cases.links import token_for_invitation
from referral.cases.models import Case, Invitation
from referral.core.workflow import Move, Role
from referral.inbox.gathering import SEND_LETTER
from referral.inbox.letters import AskedLetter
from referral.inbox.stopping import is_stopped
from referral.inbox.tokens import stop_token_for
from referral.notices.models import Letter
from referral.notices.policy import asks_at, topic_of
from referral.notices.queries import wishes_of
from referral.settings import Settings
from referral.storage.ids import new_id
from referral.storage.jobs import Finish, Handler, enqueue
from referral.web.written import moment


def asked_writer(settings: Settings, now: Callable[[], datetime]) -> Handler:
    """Return how it is decided whether and when an address that is asked is written to."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        invitation_id = UUID(payload["invitation"])
        return lambda session: write_to_asked(session, invitation_id, settings, now())

    return Handler(prepare, lambda _payload: lambda _session: None)


def write_to_asked(
    session: Session, invitation_id: UUID, settings: Settings, now: datetime
) -> None:
    """Make the letter to an address that is asked, or come back when it may go.

    The case is locked, so that of two workers one writes to an address first.
    """
    row = session.get_one(Invitation, invitation_id)
    case = select(Case.id).where(Case.id == row.case_id).with_for_update(key_share=True)
    session.scalars(case).one()
    person = find_person_by_email(session, row.email)
    if not settings.mail_host or not _is_wanted(session, row, person, settings, now):
        return
    wishes = wishes_of(session, person.id, settings.zone) if person is not None else None
    at = asks_at(wishes, _last_letter(session, row), now)
    if at > now:
        enqueue(session, WRITE_TO_ASKED, {"invitation": str(row.id)}, now, at)
        return
    letter = Letter(id=new_id(now), invitation_id=row.id, made_at=now)
    session.add(letter)
    session.flush()
    enqueue(session, SEND_LETTER, {"letter_id": str(letter.id)}, now)


def _is_wanted(
    session: Session, row: Invitation, person: Person | None, settings: Settings, now: datetime
) -> bool:
    if session.scalars(open_ones(now).where(Invitation.id == row.id)).one_or_none() is None:
        return False
    if is_stopped(session, row.email):
        return False
    if person is None:
        return True
    wishes = wishes_of(session, person.id, settings.zone)
    return person.revoked_at is None and topic_of(Move.INVITE) not in wishes.without


def _last_letter(session: Session, row: Invitation) -> datetime | None:
    """Return when this address was last written to about this case."""
    last: datetime | None = session.scalar(
        select(func.max(Letter.made_at))
        .join(Invitation, Invitation.id == Letter.invitation_id)
        .where(Invitation.email == row.email, Invitation.case_id == row.case_id)
    )
    return last


def asked_letter(
    session: Session, letter: Letter, settings: Settings, now: datetime
) -> AskedLetter | None:
    """Return what a letter to an address that is asked says, or None if it need not be sent."""
    found = open_ones(now).where(Invitation.id == letter.invitation_id)
    row: Invitation | None = session.scalars(found).one_or_none()
    if row is None or not settings.mail_host or not settings.mail_from:
        return None
    person = find_person_by_email(session, row.email)
    if not _is_wanted(session, row, person, settings, now):
        return None
    (asked,) = asked_in(session, found)
    token = token_for_invitation(settings.secret_key, row.id)
    return AskedLetter(
        letter_id=letter.id,
        made_at=letter.made_at,
        house=settings.instance_name,
        sender=settings.mail_from,
        email=row.email,
        by=_who(asked),
        for_owner=asked.role is Role.OWNER,
        as_what="the owner of a horse" if asked.role is Role.OWNER else asked.role.value,
        until=moment(asked.ends_at, settings.zone),
        link=f"{settings.public_address}/asked/{token}",
        stop=f"{settings.public_address}/no-letters/{stop_token_for(settings.secret_key, row.id)}",
    )


def _who(asked: Asked) -> str:
    return f"{asked.by} ({asked.organisation})" if asked.organisation else asked.by
