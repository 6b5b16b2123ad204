"""Legal hold: a case that must be kept whole, until somebody lifts it."""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.cases.access import CaseAccess
from referral.cases.models import Case, CaseMember, LegalHold, LegalHoldEnd
from referral.cases.timeline import NewEntry, append, locked
from referral.core.workflow import Move, Role
from referral.errors import Invalid, NotAllowed
from referral.storage.ids import new_id
from referral.web.written import day

NOT_YOURS = "Only the case’s vet, or a coordinator of the vet’s practice who is on it, can do this."
NO_WHY = "Say why: it stays in the record."


@dataclass(frozen=True, slots=True)
class Hold:
    """A legal hold in force: on which case, since when, by whom and why."""

    hold_id: UUID
    number: int
    placed_at: datetime
    by: str
    why: str

    @property
    def says(self) -> str:
        """Return since when a case is held, by whom and why, as one sentence."""
        return f"Under legal hold since {day(self.placed_at)}, by {self.by}: {self.why}"


def check_keeper(session: Session, access: CaseAccess, move: Move) -> None:
    """Return nothing if this person keeps the record: the vet, or the practice's coordinator.

    Raises
    ------
    NotAllowed
        If they do not.
    """
    if not access.may_ever(move):
        raise NotAllowed(NOT_YOURS)
    if Role.VET in access.roles:
        return
    members = session.execute(
        select(CaseMember.person_id, CaseMember.role, CaseMember.organisation_id).where(
            CaseMember.case_id == access.case_id, CaseMember.until.is_(None)
        )
    ).all()
    practices = {each.organisation_id for each in members if each.role == Role.VET} - {None}
    mine = {
        each.organisation_id
        for each in members
        if each.person_id == access.actor_id and each.role == Role.COORDINATOR
    }
    if practices.isdisjoint(mine):
        raise NotAllowed(NOT_YOURS)


def place_hold(
    session: Session, access: CaseAccess, why: str, happened_on: date, now: datetime
) -> None:
    """Put a case under legal hold: nothing of it is erased until that is lifted.

    Raises
    ------
    NotAllowed
        If this person may not.
    Invalid
        If no reason is given, or it is held already.
    """
    access = locked(session, access, now)
    check_keeper(session, access, Move.PLACE_HOLD)
    _ask_why(why)
    held = hold_on(session, access.case_id)
    if held is not None:
        raise Invalid(f"{held.says}. It is held already.")
    row = LegalHold(
        id=new_id(now),
        case_id=access.case_id,
        why=why,
        placed_by=access.actor_id,
        placed_at=now,
    )
    session.add(row)
    texts = {"why": why}
    append(session, access, NewEntry(Move.PLACE_HOLD, happened_on, {}, texts, row.id), now)


def lift_hold(
    session: Session, access: CaseAccess, why: str, happened_on: date, now: datetime
) -> None:
    """Lift the legal hold on a case.

    Raises
    ------
    NotAllowed
        If this person may not.
    Invalid
        If no reason is given, or it is not held.
    """
    access = locked(session, access, now)
    check_keeper(session, access, Move.LIFT_HOLD)
    _ask_why(why)
    held = hold_on(session, access.case_id)
    if held is None:
        raise Invalid("This case is not under legal hold.")
    row = LegalHoldEnd(
        id=new_id(now), hold_id=held.hold_id, why=why, lifted_by=access.actor_id, lifted_at=now
    )
    session.add(row)
    facts, texts = {"hold": str(held.hold_id)}, {"why": why}
    append(session, access, NewEntry(Move.LIFT_HOLD, happened_on, facts, texts, row.id), now)


def _ask_why(why: str) -> None:
    if not why.strip():
        raise Invalid("Say why.", {"why": [NO_WHY]})


def hold_on(session: Session, case_id: UUID) -> Hold | None:
    """Return the legal hold that a case is under, or None."""
    return next((each for held, each in _holds(session) if held == case_id), None)


def holds(session: Session) -> tuple[Hold, ...]:
    """Return every legal hold in force, by case."""
    return tuple(each for _case_id, each in _holds(session))


def _holds(session: Session) -> list[tuple[UUID, Hold]]:
    ended = select(LegalHoldEnd.hold_id)
    rows = session.execute(
        select(LegalHold, Case.number, Person.name)
        .join(Case, Case.id == LegalHold.case_id)
        .join(Person, Person.id == LegalHold.placed_by)
        .where(LegalHold.id.not_in(ended))
        .order_by(Case.number)
    ).all()
    return [
        (row.case_id, Hold(row.id, number, row.placed_at, name, row.why))
        for row, number, name in rows
    ]
