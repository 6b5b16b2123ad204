"""An address wants no more letters that ask it onto cases; said by a letter's own address.

It needs no account, and is the same with one. What is kept is the address's hash. Whoever asks is
told only that some want no letters: neither that this one does, nor whether anybody has it.
"""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Select, delete, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from referral.cases.models import Invitation
from referral.errors import NotFound
from referral.notices.models import StoppedAddress
from referral.storage.canonical import sha256_hex
from referral.storage.ids import new_id


def address_asked(session: Session, invitation_id: UUID) -> str:
    """Return the address that an invitation was sent to.

    Raises
    ------
    NotFound
        If there is no such invitation any more.
    """
    email = session.scalar(select(Invitation.email).where(Invitation.id == invitation_id))
    if email is None:
        raise NotFound("There is no such letter any more.")
    return email


def is_stopped(session: Session, email: str) -> bool:
    """Say whether an address wants no letters."""
    return session.scalar(_row_of(email)) is not None


def stop_letters(session: Session, email: str, now: datetime) -> None:
    """Keep that an address wants no letters; said again, or twice at once, it stays as it is."""
    if is_stopped(session, email):
        return
    row = StoppedAddress(id=new_id(now), email_sha256=_hash(email), stopped_at=now)
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError:
        return


def allow_letters(session: Session, email: str) -> None:
    """Let letters go to an address again."""
    session.execute(delete(StoppedAddress).where(StoppedAddress.email_sha256 == _hash(email)))


def _row_of(email: str) -> Select[UUID]:
    return select(StoppedAddress.id).where(StoppedAddress.email_sha256 == _hash(email))


def _hash(email: str) -> str:
    return sha256_hex(email.lower().encode())
