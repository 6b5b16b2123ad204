"""Organisations and people: added, given a password, revoked. Nothing here commits."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.models import (
    Membership,
    MembershipRole,
    Organisation,
    OrganisationKind,
    Person,
)
from referral.accounts.passwords import Passwords, refuse_weak
from referral.accounts.queries import find_person_by_email, person_by_id
from referral.accounts.sign_in import (
    WAIT,
    count_try,
    end_all_sessions,
    too_many_failures,
)
from referral.errors import Invalid
from referral.storage.db import Database
from referral.storage.ids import new_id
from referral.web.fonts import composed, printing_faults

EMAIL = re.compile(r"[^@\s]+@[^@\s]+")
LONGEST_NAME = 120
LONGEST_EMAIL = 254

ROLES_OF_KIND = {
    OrganisationKind.PRACTICE: (MembershipRole.VET, MembershipRole.COORDINATOR),
    OrganisationKind.FORGE: (
        MembershipRole.FARRIER,
        MembershipRole.APPRENTICE,
        MembershipRole.COORDINATOR,
    ),
}


@dataclass(frozen=True, slots=True)
class AddPerson:
    """A person to be added; without a password they cannot sign in yet."""

    name: str
    email: str
    role: str
    organisation_id: UUID | None = None
    password: str | None = field(default=None, repr=False)
    registration_number: str | None = None
    phone: str | None = None


def add_organisation(session: Session, name: str, kind: str, now: datetime) -> Organisation:
    """Add a practice or a forge.

    Raises
    ------
    Invalid
        If the name is empty, too long or unprintable, or the kind is not one of the two.
    """
    clean = _clean_name(name, "name")
    if kind not in set(OrganisationKind):
        raise _fault("kind", "An organisation is a practice or a forge.")
    organisation = Organisation(id=new_id(now), name=clean, kind=str(kind), created_at=now)
    session.add(organisation)
    session.flush()
    return organisation


def add_person(session: Session, passwords: Passwords, command: AddPerson, now: datetime) -> Person:
    """Add a person with one role.

    Raises
    ------
    Invalid
        If a name or number is unprintable, the email is taken or unusable, the role does not fit
        the organisation, or the password is weak.
    """
    name = _clean_name(command.name, "name")
    number = _clean_detail(command.registration_number, "registration")
    phone = _clean_detail(command.phone, "phone")
    email = command.email.strip().lower()
    if not EMAIL.fullmatch(email) or len(email) > LONGEST_EMAIL:
        raise _fault("email", "An email needs a name, an @ and a place, such as ann@example.org.")
    if find_person_by_email(session, email) is not None:
        raise _fault("email", f"Somebody is already known by {email}.")
    if command.password is not None:
        refuse_weak(command.password, name=name, email=email)
    person = Person(
        id=new_id(now),
        name=name,
        email=email,
        password_hash=None if command.password is None else passwords.hash(command.password),
        registration_number=number,
        phone=phone,
        revoked_at=None,
        created_at=now,
    )
    session.add(person)
    session.flush()
    add_membership(session, person.id, command.role, command.organisation_id, now)
    return person


def add_membership(
    session: Session, person_id: UUID, role: str, organisation_id: UUID | None, now: datetime
) -> Membership:
    """Give a person a role, in an organisation or as an owner.

    Raises
    ------
    Invalid
        If the role is unknown or does not fit the organisation.
    """
    _check_role(session, role, organisation_id)
    membership = Membership(
        id=new_id(now),
        person_id=person_id,
        organisation_id=organisation_id,
        role=str(role),
        since=now,
        until=None,
    )
    session.add(membership)
    session.flush()
    return membership


def set_password(
    session: Session, passwords: Passwords, person_id: UUID, password: str, now: datetime
) -> None:
    """Set a person's password and end all their sessions (the operator's way).

    Raises
    ------
    NotFound
        If there is no such person.
    Invalid
        If the password is weak.
    """
    person = person_by_id(session, person_id)
    refuse_weak(password, name=person.name, email=person.email)
    person.password_hash = passwords.hash(password)
    end_all_sessions(session, person.id, now)


@dataclass(frozen=True, slots=True)
class ChangePassword:
    """One's own password: the present one, the new one, and where this is asked from."""

    present: str = field(repr=False)
    password: str = field(repr=False)
    address: str


def change_password(
    database: Database, passwords: Passwords, actor: Actor, command: ChangePassword, now: datetime
) -> None:
    """Change one's own password and end one's other sessions.

    The present password is asked for, and wrong ones count as failed sign-ins. Sent again, the new
    password is the present one already, and that is no fault.

    Raises
    ------
    Invalid
        If the present password is wrong, too many were, or the new one is weak.
    """
    with database.reading() as session:
        if too_many_failures(session, actor.email, command.address, now):
            raise _fault("present", WAIT)
        present_hash = person_by_id(session, actor.person_id).password_hash
    refuse_weak(command.password, name=actor.name, email=actor.email)
    changes = passwords.matches(present_hash, command.present)
    new_hash = passwords.hash(command.password) if changes else ""
    ok = changes or passwords.matches(present_hash, command.password)
    with database.transaction() as session:
        count_try(session, actor.email, command.address, ok=ok, now=now)
        if changes:
            person_by_id(session, actor.person_id).password_hash = new_hash
            end_all_sessions(session, actor.person_id, now, but=actor.session_id)
    if not ok:
        raise _fault("present", "This is not your present password.")


@dataclass(frozen=True, slots=True)
class ConfirmPassword:
    """One's present password, given to authorise what is done next, and where from."""

    password: str = field(repr=False)
    address: str


def nothing_else(_session: Session) -> Invalid | None:
    """Ask for nothing beside a password."""
    return None


def confirm_password(
    database: Database,
    passwords: Passwords,
    actor: Actor,
    given: ConfirmPassword,
    now: datetime,
    *,
    also: Callable[[Session], Invalid | None] = nothing_else,
) -> None:
    """Take one's present password as the authority for what is done next.

    ``also`` says what else is wrong when the password is right; both together are one try.
    Wrong ones count as failed sign-ins.

    Raises
    ------
    Invalid
        If the password is wrong, or too many were, or what is asked beside it.
    """
    with database.reading() as session:
        if too_many_failures(session, actor.email, given.address, now):
            raise _fault("password", WAIT)
        password_hash = person_by_id(session, actor.person_id).password_hash
    ok = passwords.matches(password_hash, given.password)
    with database.transaction() as session:
        fault = also(session) if ok else _fault("password", "This is not your password.")
        count_try(session, actor.email, given.address, ok=fault is None, now=now)
    if fault is not None:
        raise fault


def revoke_person(session: Session, person_id: UUID, now: datetime) -> None:
    """Take away a person's access and end their sessions; what they wrote stays theirs.

    Raises
    ------
    NotFound
        If there is no such person.
    """
    person = person_by_id(session, person_id)
    if person.revoked_at is None:
        person.revoked_at = now
    end_all_sessions(session, person.id, now)


def _check_role(session: Session, role: str, organisation_id: UUID | None) -> None:
    if role not in set(MembershipRole):
        raise _fault("role", "A role is vet, farrier, apprentice, owner or coordinator.")
    if role == MembershipRole.OWNER:
        if organisation_id is not None:
            raise _fault("role", "An owner belongs to no organisation.")
        return
    organisation = session.get(Organisation, organisation_id) if organisation_id else None
    if organisation is None:
        raise _fault("organisation", f"A {role} belongs to a practice or a forge; say which.")
    if role not in ROLES_OF_KIND[OrganisationKind(organisation.kind)]:
        raise _fault("role", f"A {role} does not work in a {organisation.kind}.")


def _clean_name(name: str, at: str) -> str:
    clean = _printable(" ".join(name.split()), at)
    if not clean or len(clean) > LONGEST_NAME:
        raise _fault(at, f"A name needs between 1 and {LONGEST_NAME} characters.")
    return clean


def _clean_detail(text: str | None, at: str) -> str | None:
    return None if text is None else _printable(text, at)


def _printable(text: str, at: str) -> str:
    kept = composed(text)
    if faults := printing_faults(kept):
        raise _fault(at, f"{at.capitalize()}: {' '.join(faults)}")
    return kept


def _fault(at: str, sentence: str) -> Invalid:
    return Invalid(sentence, {at: [sentence]})
