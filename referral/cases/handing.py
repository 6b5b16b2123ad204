"""A part in a case is handed over: one vet or farrier goes, another comes, and both stay on record.

Whoever comes sees the whole case and has the turn, the rechecks and the work that were the
other's part. Agreements and signatures stay with whoever gave them. Whoever goes keeps a view
of the case up to the hand-over, to read, and sees nothing of what comes after it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.cases.access import CaseAccess
from referral.cases.joining import add_member, is_on, known_people, known_person, organisation_for
from referral.cases.models import Case, CaseMember, Entry
from referral.cases.queries import people_on
from referral.cases.timeline import NewEntry, append, locked
from referral.core.workflow import Move, Role
from referral.errors import Invalid, NotFound

HANDED = (Role.VET, Role.FARRIER)
"""The parts that are handed over."""

NOT_YOURS = "This part is not yours to hand over."
NOT_THEIRS = "They do not have this part now; look at who is on the case."


@dataclass(frozen=True, slots=True)
class HandOver:
    """Who hands which part over to whom, from which day, and why."""

    role: Role
    from_id: UUID
    to_id: UUID
    from_on: date
    reason: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part in the case that somebody may hand over: whose, and as what."""

    person_id: UUID
    name: str
    role: Role


def parts_to_hand(session: Session, access: CaseAccess) -> tuple[Part, ...]:
    """Return the parts that whoever asks may hand over.

    A vet or a farrier hands over their own; a coordinator those of their own organisation.
    """
    people = people_on(session, access.case_id)
    offices = {
        member.organisation_id
        for member, person, _organisation in people
        if person.id == access.actor_id and member.role == Role.COORDINATOR.value
    } - {None}
    return tuple(
        Part(person.id, person.name, Role(member.role))
        for member, person, _organisation in people
        if Role(member.role) in HANDED
        and (person.id == access.actor_id or member.organisation_id in offices)
    )


def hand_over(session: Session, access: CaseAccess, command: HandOver, now: datetime) -> None:
    """Hand a part over; whoever had it is on the case no more.

    Raises
    ------
    Invalid
        If the part is not theirs to hand over, or whoever is to have it is none they know.
    """
    access = locked(session, access, now)  # of two who hand one part over, the second finds it gone
    access.check_role(Move.HAND_OVER)
    mine = {(each.person_id, each.role) for each in parts_to_hand(session, access)}
    if (command.from_id, command.role) not in mine:
        here = is_on(session, access.case_id, command.from_id, command.role)
        raise Invalid("Say whose part.", {"part": [NOT_YOURS if here else NOT_THEIRS]})
    try:
        comes = known_person(session, access.actor_id, command.role, command.to_id)
    except NotFound as error:
        said = _other_trade(session, access, command) or error.message
        raise Invalid("Say who takes it over.", {"to_id": [said]}) from error
    if comes.person_id == command.from_id:
        raise Invalid("Say who takes it over.", {"to_id": [f"{comes.name} has it already."]})
    if not is_on(session, access.case_id, comes.person_id, command.role):
        organisation = organisation_for(comes, command.role)
        add_member(session, access.case_id, comes.person_id, command.role, organisation, now)
    facts = {
        "role": command.role.value,
        "from_person": str(command.from_id),
        "to_person": str(command.to_id),
    }
    told = frozenset({comes.person_id})
    texts = {"reason": command.reason}
    new = NewEntry(Move.HAND_OVER, command.from_on, facts, texts, also_tell=told)
    append(session, access, new, now)
    _end(session, access.case_id, command, now)


def _other_trade(session: Session, access: CaseAccess, command: HandOver) -> str | None:
    """Return that whoever is to have the part is known, and is of the other trade."""
    role = command.role.value
    for other in HANDED:
        for each in known_people(session, access.actor_id, other):
            if each.person_id == command.to_id:
                return f"{each.name} is a {other.value}; the {role}’s part goes to a {role}."
    return None


def _end(session: Session, case_id: UUID, command: HandOver, now: datetime) -> None:
    rows = session.scalars(
        select(CaseMember).where(
            CaseMember.case_id == case_id,
            CaseMember.person_id == command.from_id,
            CaseMember.role == command.role.value,
            CaseMember.until.is_(None),
        )
    )
    for row in rows:
        row.until = now
    session.flush()


@dataclass(frozen=True, slots=True)
class Left:
    """A case that somebody handed over: which, and the entry that it ends with for them."""

    case: Case
    last: Entry
    to: str


def cases_left(session: Session, person_id: UUID) -> tuple[Left, ...]:
    """Return the cases that a person handed over and is on no more, the latest first."""
    now_on = select(CaseMember.case_id).where(
        CaseMember.person_id == person_id, CaseMember.until.is_(None)
    )
    once_on = select(CaseMember.case_id).where(
        CaseMember.person_id == person_id, CaseMember.until.is_not(None)
    )
    rows = session.execute(
        select(Case, Entry)
        .join(Entry, Entry.case_id == Case.id)
        .where(
            Entry.kind == Move.HAND_OVER.value,
            Case.id.in_(once_on),
            Case.id.not_in(now_on),
        )
        .order_by(Entry.recorded_at, Entry.seq)
    ).all()
    last = {
        case.id: (case, entry)
        for case, entry in rows
        if entry.content["from_person"] == str(person_id)
    }
    names = _names(session, [UUID(entry.content["to_person"]) for _case, entry in last.values()])
    found = [
        Left(case, entry, names[UUID(entry.content["to_person"])]) for case, entry in last.values()
    ]
    return tuple(sorted(found, key=lambda each: each.last.recorded_at, reverse=True))


def case_left(session: Session, person_id: UUID, number: int) -> Left:
    """Return one case that a person handed over.

    Raises
    ------
    NotFound
        If there is no such case, or they never handed it over, or are on it now.
    """
    for each in cases_left(session, person_id):
        if each.case.number == number:
            return each
    raise NotFound("There is no such case.")


def _names(session: Session, ids: Sequence[UUID]) -> Mapping[UUID, str]:
    return dict(session.execute(select(Person.id, Person.name).where(Person.id.in_(ids))).all())
