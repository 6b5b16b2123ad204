"""Who comes onto a case: people one knows already, and others by an address typed in full.

Known to somebody are those who work for the same organisation, and those with whom they have
shared a case. Of anybody else nothing is told: an address is asked, whether or not somebody is
known by it, and whoever signs in under it accepts or declines. The owner of a new horse is asked
in the same way when a case is opened on it, and is its owner once they accept.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from referral.accounts.actor import Actor
from referral.accounts.models import Person
from referral.accounts.queries import PersonInfo, colleagues_of, people_with_role
from referral.cases.access import CaseAccess
from referral.cases.invitations import (
    Ask,
    Asked,
    asked_in,
    asked_onto,
    end_invitation,
    keep_invitation,
    lock_invitation,
    not_accepted,
    open_invitation,
    open_ones,
    too_many,
)
from referral.cases.models import Case, CaseMember, Invitation
from referral.cases.queries import case_for
from referral.cases.silence import tell_who_asked
from referral.cases.timeline import NewEntry, append
from referral.core.workflow import Move, Role
from referral.errors import Invalid, NotFound
from referral.horses.models import Horse
from referral.horses.queries import typed_owner
from referral.storage.ids import new_id

JOINING = (Role.VET, Role.FARRIER, Role.APPRENTICE, Role.COORDINATOR)
"""As what somebody can be asked onto any case; an owner comes with the horse."""


def known_people(session: Session, person_id: UUID, role: Role) -> tuple[PersonInfo, ...]:
    """Return those of a role that a person knows already, themselves too, by name."""
    return people_with_role(session, role.value, _known(person_id, role))


def _known(person_id: UUID, role: Role) -> Select[UUID]:
    # as this on a case: whoever is on one as owner is not known as a farrier by it, and whoever
    # was never the owner, which alone ends being on it as such, not at all
    mine, theirs = aliased(CaseMember), aliased(CaseMember)
    shared = (
        select(theirs.person_id)
        .join(mine, mine.case_id == theirs.case_id)
        .where(mine.person_id == person_id, theirs.role == role.value)
        .where(*(each.until.is_(None) | (each.role != Role.OWNER) for each in (mine, theirs)))
    )
    return select(Person.id).where(
        Person.id.in_(shared) | Person.id.in_(colleagues_of(person_id)) | (Person.id == person_id)
    )


def known_person(session: Session, knower_id: UUID, role: Role, person_id: UUID) -> PersonInfo:
    """Return one person whom somebody knows already in a role.

    Raises
    ------
    NotFound
        If there is none, whether or not there is such a person.
    """
    people = {each.person_id: each for each in known_people(session, knower_id, role)}
    if person_id not in people:
        raise NotFound("There is no such person among those you know.")
    return people[person_id]


def known_owner(session: Session, knower_id: UUID, email: str) -> UUID | None:
    """Return who has this address, if somebody knows them already as one who owns horses."""
    theirs = select(Horse.owner_id).where(Horse.recorded_by == knower_id)
    return session.scalars(
        select(Person.id).where(
            Person.email == email.strip().lower(),
            Person.revoked_at.is_(None),
            Person.id.in_(_known(knower_id, Role.OWNER))
            | Person.id.in_(theirs.where(Horse.owner_id.is_not(None))),
        )
    ).one_or_none()


def organisation_for(person: PersonInfo | Actor, role: Role) -> UUID | None:
    """Return the organisation for which somebody is this, or none."""
    found = (each.organisation_id for each in person.memberships if each.role == role.value)
    return next(found, None)


def card_says(person: PersonInfo) -> str:
    """Return how somebody is offered in a list: their name and for whom they work."""
    names = [each.organisation_name for each in person.memberships if each.organisation_name]
    return f"{person.name}, {names[0]}" if names else person.name


@dataclass(frozen=True, slots=True)
class Choice:
    """Who is meant: a person whom one knows, or an address."""

    person_id: UUID | None
    email: str | None


def check_choice(choice: Choice, person_field: str, email_field: str) -> None:
    """Return nothing if exactly one of the two is given.

    Raises
    ------
    Invalid
        If neither is, or both are.
    """
    if (choice.person_id is None) == (choice.email is None):
        said = (
            "Choose somebody you know, or type an email address."
            if choice.person_id is None
            else "You have chosen somebody as well: leave one of the two empty."
        )
        field = person_field if choice.person_id is None else email_field
        raise Invalid("Say who it is.", {field: [said]})


@dataclass(frozen=True, slots=True)
class AskOnto:
    """Somebody to come onto a case: as what, and who."""

    role: Role
    choice: Choice
    happened_on: date


def ask_onto(session: Session, access: CaseAccess, command: AskOnto, now: datetime) -> None:
    """Bring somebody known onto the case at once; ask anybody else by their address.

    Raises
    ------
    Invalid
        If they are on the case as that already, or are asked already.
    NotFound
        If the person is none whom one knows.
    """
    access.check_role(Move.INVITE)
    if command.choice.person_id is not None:
        person = known_person(session, access.actor_id, command.role, command.choice.person_id)
        bring_on(session, access, command, person, now)
        return
    row = invite(session, access, command, now)
    facts = {"role": command.role.value}
    new = NewEntry(Move.INVITE, command.happened_on, facts, {"email": row.email}, row.id)
    append(session, access, new, now)


def ask_owner(session: Session, access: CaseAccess, day: date, now: datetime) -> None:
    """Ask the horse's owner by the address that was typed, unless somebody is its owner already.

    Whoever has asked too many asks this one later: the case says that they are not asked.
    """
    horse = session.get_one(Horse, access.horse_id)
    typed = typed_owner(session, horse)
    if horse.owner_id is None and typed.email and not too_many(session, access.actor_id, now):
        ask_onto(session, access, AskOnto(Role.OWNER, Choice(None, typed.email), day), now)


def ask_again(
    session: Session, access: CaseAccess, invitation_id: UUID, today: date, now: datetime
) -> None:
    """Ask an address once more that declined, or did not answer in time.

    Raises
    ------
    NotFound
        If nobody was asked that on this case.
    Invalid
        If they are asked already, or whoever asks has asked too many.
    """
    access.check_role(Move.INVITE)
    rows = {each.row.id: each.row for each in not_accepted(session, access.case_id)}
    if invitation_id not in rows:
        raise NotFound("Nobody was asked that on this case.")
    role = Role(rows[invitation_id].role)
    if role not in roles_to_ask(session, access):
        raise Invalid("The owner is on the case already.")
    command = AskOnto(role, Choice(None, rows[invitation_id].email), today)
    ask_onto(session, access, command, now)


def roles_to_ask(session: Session, access: CaseAccess) -> tuple[Role, ...]:
    """Return as what somebody can be asked onto this case: as owner while none is on it."""
    return JOINING if has(session, access.case_id, Role.OWNER) else (*JOINING, Role.OWNER)


def invite(session: Session, access: CaseAccess, command: AskOnto, now: datetime) -> Invitation:
    """Keep that an address is asked; its entry is the caller's.

    Raises
    ------
    Invalid
        If it is asked the same already, or whoever asks has asked too many.
    """
    ask = Ask(access.case_id, command.role, command.choice.email or "", access.actor_id)
    return keep_invitation(session, ask, now)


def bring_on(
    session: Session, access: CaseAccess, command: AskOnto, person: PersonInfo, now: datetime
) -> None:
    """Bring a person onto the case at once.

    Raises
    ------
    Invalid
        If they are on it as that already.
    """
    if is_on(session, access.case_id, person.person_id, command.role):
        raise Invalid("They are on it.", {"person_id": [f"{person.name} is on it already."]})
    organisation = organisation_for(person, command.role)
    add_member(session, access.case_id, person.person_id, command.role, organisation, now)
    if command.role is Role.OWNER:
        _become_owner(session, access.case_id, person.person_id)
    facts = {"role": command.role.value, "person": str(person.person_id)}
    told = frozenset({person.person_id})
    new = NewEntry(Move.INVITE, command.happened_on, facts, also_tell=told)
    append(session, access, new, now)


def is_on(session: Session, case_id: UUID, person_id: UUID, role: Role) -> bool:
    """Say whether somebody is on a case now as this."""
    found = select(CaseMember.id).where(
        CaseMember.case_id == case_id,
        CaseMember.person_id == person_id,
        CaseMember.role == role.value,
        CaseMember.until.is_(None),
    )
    return session.scalars(found).first() is not None


def add_member(
    session: Session,
    case_id: UUID,
    person_id: UUID,
    role: Role,
    organisation_id: UUID | None,
    now: datetime,
) -> None:
    """Add somebody to a case from now on."""
    row = CaseMember(
        id=new_id(now),
        case_id=case_id,
        person_id=person_id,
        organisation_id=organisation_id,
        role=role.value,
        since=now,
    )
    session.add(row)
    session.flush()


def is_foreseen(session: Session, case_id: UUID, role: Role, now: datetime) -> bool:
    """Say whether somebody is on a case as this, or is asked onto it and can still accept."""
    asked = any(each.role == role.value for each in asked_onto(session, case_id, now))
    return asked or has(session, case_id, role)


def has(session: Session, case_id: UUID, role: Role) -> bool:
    """Say whether anybody is on a case now as this."""
    found = select(CaseMember.id).where(
        CaseMember.case_id == case_id, CaseMember.role == role.value, CaseMember.until.is_(None)
    )
    return session.scalars(found).first() is not None


def invitations_for(session: Session, actor: Actor, now: datetime) -> tuple[Asked, ...]:
    """Return what this person is asked onto and could accept, the longest first."""
    found = open_ones(now).where(
        Invitation.email == actor.email.lower(), Invitation.role.in_(_roles(actor))
    )
    return asked_in(session, found)


def _roles(actor: Actor) -> Iterable[str]:
    # what one may be is kept for each person, but anybody may own a horse
    joining = {each.value for each in JOINING}
    return [*(role for role in actor.roles if role in joining), Role.OWNER.value]


def answer_invitation(
    session: Session,
    actor: Actor,
    invitation_id: UUID,
    *,
    accepts: bool,
    today: date,
    now: datetime,
) -> int | None:
    """Accept or decline what one is asked; return the number of the case one is on then.

    Raises
    ------
    NotFound
        If this person is asked no such thing, or it is answered or taken back.
    """
    row = invitation_to_accept(session, invitation_id, now)
    if row.id not in {each.invitation_id for each in invitations_for(session, actor, now)}:
        raise NotFound("You are not asked this, or it was taken back.")
    if accepts:
        organisation = organisation_for(actor, Role(row.role))
        return accept(session, row, Comes(actor.person_id, organisation, today), now)
    end_invitation(session, row, "declined", actor.person_id, now)
    tell_who_asked(session, row, now)
    return None


@dataclass(frozen=True, slots=True)
class Comes:
    """Who comes onto a case by an invitation, and for which organisation, from which day."""

    person_id: UUID
    organisation_id: UUID | None
    on: date


def accept(session: Session, row: Invitation, comes: Comes, now: datetime) -> int:
    """Bring whoever accepts an open invitation onto its case, and return the case's number."""
    end_invitation(session, row, "accepted", comes.person_id, now)
    role = Role(row.role)
    number = session.scalars(select(Case.number).where(Case.id == row.case_id)).one()
    if role is Role.OWNER:
        _become_owner(session, row.case_id, comes.person_id)
    if not is_on(session, row.case_id, comes.person_id, role):
        add_member(session, row.case_id, comes.person_id, role, comes.organisation_id, now)
    access = case_for(session, comes.person_id, number)
    told = frozenset({row.asked_by})
    new = NewEntry(Move.JOIN, comes.on, {"role": row.role}, {}, row.id, also_tell=told)
    append(session, access, new, now)
    return number


def invitation_to_accept(session: Session, invitation_id: UUID, now: datetime) -> Invitation:
    """Return an open invitation, kept with its horse from another end until this does.

    Raises
    ------
    NotFound
        If it was answered or taken back, or is too old.
    """
    row = open_invitation(session, invitation_id, now)
    if row.role == Role.OWNER:  # before the invitation, as whoever mends an address does
        lock_horse(session, _horse_id(session, row.case_id))
    lock_invitation(session, invitation_id)
    return open_invitation(session, invitation_id, now)


def lock_horse(session: Session, horse_id: UUID) -> None:
    """Keep a horse from getting an owner in two ways at once, until this transaction ends."""
    by_id = select(Horse.id).where(Horse.id == horse_id)
    session.scalars(by_id.with_for_update(key_share=True)).one()


def _horse_id(session: Session, case_id: UUID) -> UUID:
    return session.scalars(select(Case.horse_id).where(Case.id == case_id)).one()


def _become_owner(session: Session, case_id: UUID, person_id: UUID) -> None:
    horse = session.get_one(Horse, _horse_id(session, case_id))
    if horse.owner_id is None:  # once: the entry on the case says who accepted, and when
        horse.owner_id = person_id


def take_back(
    session: Session, access: CaseAccess, invitation_id: UUID, today: date, now: datetime
) -> None:
    """Take back what somebody was asked.

    Raises
    ------
    NotFound
        If nobody is asked that on this case.
    """
    access.check_role(Move.TAKE_INVITE_BACK)
    lock_invitation(session, invitation_id)
    standing = not_accepted(session, access.case_id)
    rows = {each.row.id: each.row for each in standing if not each.declined}
    if invitation_id not in rows:
        raise NotFound("Nobody is asked that on this case any more.")
    row = rows[invitation_id]
    end_invitation(session, row, "taken_back", access.actor_id, now)
    new = NewEntry(Move.TAKE_INVITE_BACK, today, {"role": row.role}, {}, row.id)
    append(session, access, new, now)
