"""Whoever comes by the address in a letter: what they can do, and the owner's first account.

Only an owner makes an account by it. Vets, farriers and those who work with them are given theirs
by whoever runs the instance, who has seen that they are what they say.
"""

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.models import MembershipRole
from referral.accounts.passwords import Passwords, refuse_weak
from referral.accounts.queries import find_person_by_email
from referral.accounts.service import AddPerson, add_person
from referral.accounts.sign_in import SignInTry, open_session, sign_in
from referral.cases.invitations import (
    Asked,
    asked_in,
    end_invitation,
    how_ended,
    lock_invitation,
    open_invitation,
    open_ones,
)
from referral.cases.joining import Comes, accept, invitation_to_accept, invitations_for
from referral.cases.models import Case, Invitation
from referral.cases.silence import tell_who_asked
from referral.core.workflow import Role
from referral.errors import NotFound
from referral.storage.db import Database

OVER = "This was answered or taken back, or is older than seven days. Ask whoever asked you."
ACCEPTED = "This is accepted already: sign in, and find the case on your desk."


class Way(StrEnum):
    """What whoever has the letter needs to accept."""

    ACCEPT = "accept"
    SIGN_IN = "sign_in"
    SET_UP = "set_up"
    SIGN_OUT = "sign_out"
    ANOTHER_ACCOUNT = "another_account"


@dataclass(frozen=True, slots=True)
class Letterhead:
    """An invitation as its letter's own page shows it, and what is needed to accept."""

    asked: Asked
    email: str
    way: Way


def by_letter(
    session: Session, actor: Actor | None, invitation_id: UUID, now: datetime
) -> Letterhead:
    """Return what the address in a letter is for.

    Raises
    ------
    NotFound
        If the invitation is open no more; says so.
    """
    row = _open(session, invitation_id, now)
    (asked,) = asked_in(session, open_ones(now).where(Invitation.id == row.id))
    return Letterhead(asked, row.email, _way(session, actor, row, now))


def _open(session: Session, invitation_id: UUID, now: datetime) -> Invitation:
    try:
        return open_invitation(session, invitation_id, now)
    except NotFound as error:
        accepted = how_ended(session, invitation_id) == "accepted"
        raise NotFound(ACCEPTED if accepted else OVER) from error


def _way(session: Session, actor: Actor | None, row: Invitation, now: datetime) -> Way:
    if actor is not None and actor.email.lower() != row.email:
        return Way.SIGN_OUT
    if actor is not None:
        mine = {each.invitation_id for each in invitations_for(session, actor, now)}
        return Way.ACCEPT if row.id in mine else Way.ANOTHER_ACCOUNT
    person = find_person_by_email(session, row.email)
    if person is not None:
        return Way.SIGN_IN if person.revoked_at is None else Way.ANOTHER_ACCOUNT
    return Way.SET_UP if row.role == Role.OWNER else Way.ANOTHER_ACCOUNT


def decline_by_letter(session: Session, invitation_id: UUID, now: datetime) -> None:
    """Decline without signing in; the letter is proof enough. What is declined stays so.

    Raises
    ------
    NotFound
        If the invitation was accepted or taken back, or is too old.
    """
    lock_invitation(session, invitation_id)
    if how_ended(session, invitation_id) == "declined":
        return
    row = _open(session, invitation_id, now)
    end_invitation(session, row, "declined", None, now)
    tell_who_asked(session, row, now)


@dataclass(frozen=True, slots=True)
class SetUp:
    """An owner's own account: their name, a password, and where and with what it is made."""

    name: str
    password: str = field(repr=False)
    address: str
    device: str


@dataclass(frozen=True, slots=True)
class SetUpResult:
    """The case that the new owner is on, and the token of their session."""

    number: int
    token: str = field(repr=False)


def set_up_owner(
    database: Database,
    passwords: Passwords,
    invitation_id: UUID,
    command: SetUp,
    today: date,
    now: datetime,
) -> SetUpResult:
    """Make an owner's account for the address that was asked, accept, and sign them in, all in one.

    Raises
    ------
    NotFound
        If the invitation is open no more, or is none by which an account is made.
    Invalid
        If the name is missing or the password is weak.
    """
    with database.reading() as session:
        letter = by_letter(session, None, invitation_id, now)
    refuse_weak(command.password, name=command.name, email=letter.email)
    password_hash = passwords.hash(command.password)
    with database.transaction() as session:
        letter = by_letter(session, None, invitation_id, now)
        if letter.way is not Way.SET_UP:
            raise NotFound(OVER)
        row = invitation_to_accept(session, invitation_id, now)
        owner = AddPerson(command.name, letter.email, MembershipRole.OWNER.value)
        person = add_person(session, passwords, owner, now)
        person.password_hash = password_hash
        number = accept(session, row, Comes(person.id, None, today), now)
        return SetUpResult(number, open_session(session, person.id, command.device, now))


def set_up_before(
    database: Database, passwords: Passwords, invitation_id: UUID, command: SetUp, now: datetime
) -> SetUpResult | None:
    """Sign in who sends the same set-up again, or return None if it is not theirs.

    Name and address prove nothing by then: this is a try at the door, and counts as one.
    """
    with database.reading() as session:
        if how_ended(session, invitation_id) != "accepted":
            return None
        row = session.get_one(Invitation, invitation_id)
        number = session.get_one(Case, row.case_id).number
        email = row.email
    tried = SignInTry(email, command.password, command.address, command.device)
    token = sign_in(database, passwords, tried, now).token
    return None if token is None else SetUpResult(number, token)
