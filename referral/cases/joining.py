"""Who comes onto a case: people one knows already, and others by an address typed in full.

Known to somebody are those who work for the same organisation, and those with whom they have
shared a case. Of anybody else nothing is told: an address is asked, whether or not somebody is
known by it, and whoever signs in under it accepts or declines. The owner of a new horse is asked
in the same way when a case is opened on it, and is its owner once they accept.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from referral.accounts.actor import Actor
from referral.accounts.models import Organisation, Person
from referral.accounts.queries import PersonInfo, colleagues_of, people_with_role
from referral.cases.access import CaseAccess
from referral.cases.models import Case, CaseMember, Invitation, InvitationEnd
from referral.cases.queries import case_for
from referral.cases.timeline import NewEntry, append
from referral.core.workflow import Move, Role
from referral.errors import Invalid, NotFound
from referral.horses.models import Horse
from referral.storage.ids import new_id
from referral.storage.together import CaseId, Rows

JOINING = (Role.VET, Role.FARRIER, Role.APPRENTICE, Role.COORDINATOR)
"""As what somebody can be asked onto any case; an owner comes with the horse."""


def known_people(session: Session, person_id: UUID, role: Role) -> tuple[PersonInfo, ...]:
    """Return those of a role that a person knows already, themselves too, by name."""
    return people_with_role(session, role.value, _known(person_id, role))


def _known(person_id: UUID, role: Role) -> Select[UUID]:
    # as this on a case: whoever is on one as owner is not known as a farrier by it
    mine, theirs = aliased(CaseMember), aliased(CaseMember)
    shared = (
        select(theirs.person_id)
        .join(mine, mine.case_id == theirs.case_id)
        .where(mine.person_id == person_id, theirs.role == role.value)
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
    """Ask the horse's owner by the address that was typed, unless somebody is its owner already."""
    horse = session.get_one(Horse, access.horse_id)
    if horse.owner_id is None and horse.owner_email:
        ask_onto(session, access, AskOnto(Role.OWNER, Choice(None, horse.owner_email), day), now)


def roles_to_ask(session: Session, access: CaseAccess) -> tuple[Role, ...]:
    """Return as what somebody can be asked onto this case: as owner while none is on it."""
    return JOINING if _has(session, access.case_id, Role.OWNER) else (*JOINING, Role.OWNER)


def invite(session: Session, access: CaseAccess, command: AskOnto, now: datetime) -> Invitation:
    """Keep that an address is asked; its entry is the caller's.

    Raises
    ------
    Invalid
        If it is asked the same already.
    """
    email = (command.choice.email or "").strip().lower()
    asked = {(each.email, each.role) for each in asked_onto(session, access.case_id)}
    if (email, command.role.value) in asked:
        raise Invalid("They are asked already.", {"email": ["They are asked already."]})
    row = Invitation(
        id=new_id(now),
        case_id=access.case_id,
        email=email,
        role=command.role.value,
        asked_by=access.actor_id,
        asked_at=now,
    )
    session.add(row)
    session.flush()
    return row


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


def is_foreseen(session: Session, case_id: UUID, role: Role) -> bool:
    """Say whether somebody is on a case as this, or is asked onto it."""
    asked = any(each.role == role.value for each in asked_onto(session, case_id))
    return asked or _has(session, case_id, role)


def _has(session: Session, case_id: UUID, role: Role) -> bool:
    found = select(CaseMember.id).where(
        CaseMember.case_id == case_id, CaseMember.role == role.value, CaseMember.until.is_(None)
    )
    return session.scalars(found).first() is not None


def _open() -> Rows:
    ended = select(InvitationEnd.invitation_id)
    return select(Invitation).where(Invitation.id.not_in(ended)).order_by(Invitation.asked_at)


def asked_onto(session: Session, case_id: UUID) -> Sequence[Invitation]:
    """Return who is asked onto a case and has not answered, the longest first."""
    return session.scalars(select_asked(case_id)).all()


def select_asked(case_id: CaseId) -> Rows:
    """Return the query for who is asked onto a case and has not answered."""
    return _open().where(Invitation.case_id == case_id)


@dataclass(frozen=True, slots=True)
class Asked:
    """An invitation as whoever is asked sees it; of the case itself nothing is told yet."""

    invitation_id: UUID
    role: Role
    by: str
    organisation: str | None
    asked_at: datetime


def invitations_for(session: Session, actor: Actor) -> tuple[Asked, ...]:
    """Return what this person is asked onto and could accept, the longest first."""
    rows = session.execute(
        _open()
        .add_columns(Person.name, Organisation.name)
        .join(Person, Person.id == Invitation.asked_by)
        .outerjoin(
            CaseMember,
            (CaseMember.case_id == Invitation.case_id)
            & (CaseMember.person_id == Invitation.asked_by),
        )
        .outerjoin(Organisation, Organisation.id == CaseMember.organisation_id)
        .where(Invitation.email == actor.email.lower(), Invitation.role.in_(_roles(actor)))
    ).all()
    found = {
        row.id: Asked(row.id, Role(row.role), name, organisation, row.asked_at)
        for row, name, organisation in rows
    }
    return tuple(found.values())


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
    if invitation_id not in {each.invitation_id for each in invitations_for(session, actor)}:
        raise NotFound("You are not asked this, or it was taken back.")
    row = session.get_one(Invitation, invitation_id)
    end_invitation(session, row, "accepted" if accepts else "declined", actor.person_id, now)
    if not accepts:
        return None
    role = Role(row.role)
    number = session.scalars(select(Case.number).where(Case.id == row.case_id)).one()
    if role is Role.OWNER:
        _become_owner(session, row.case_id, actor.person_id)
    if not is_on(session, row.case_id, actor.person_id, role):
        organisation = organisation_for(actor, role)
        add_member(session, row.case_id, actor.person_id, role, organisation, now)
    access = case_for(session, actor.person_id, number)
    told = frozenset({row.asked_by})
    new = NewEntry(Move.JOIN, today, {"role": row.role}, {}, row.id, also_tell=told)
    append(session, access, new, now)
    return number


def _become_owner(session: Session, case_id: UUID, person_id: UUID) -> None:
    horse = session.scalars(
        select(Horse).join(Case, Case.horse_id == Horse.id).where(Case.id == case_id)
    ).one()
    if horse.owner_id is None:  # once: the entry on the case says who accepted, and when
        horse.owner_id = person_id


def end_invitation(
    session: Session, row: Invitation, how: str, person_id: UUID, now: datetime
) -> None:
    """Keep how an invitation ended."""
    end = InvitationEnd(
        id=new_id(now), invitation_id=row.id, how=how, ended_by=person_id, ended_at=now
    )
    session.add(end)
    session.flush()


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
    rows = {each.id: each for each in asked_onto(session, access.case_id)}
    if invitation_id not in rows:
        raise NotFound("Nobody is asked that on this case any more.")
    row = rows[invitation_id]
    end_invitation(session, row, "taken_back", access.actor_id, now)
    new = NewEntry(Move.TAKE_INVITE_BACK, today, {"role": row.role}, {}, row.id)
    append(session, access, new, now)
