"""A horse's owner was typed wrongly: the address is mended, and another is asked in its place.

The address that was wrong can take the horse up no more, on any case of it. Where whoever mends
it is on the case the timeline says both; a colleague's case is not theirs to write in, and there
the invitations alone say who did it and when.

Where somebody had accepted by it, the vet corrects that: they are on none of the horse's cases
any more and see nothing of it, what they wrote stays, and consent that they gave is none.
"""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.cases.access import CaseAccess
from referral.cases.invitations import (
    Ask,
    asked_onto,
    end_invitation,
    keep_invitation,
    lock_invitation,
    not_accepted,
)
from referral.cases.joining import has, lock_horse
from referral.cases.models import Case, CaseMember, Entry, Invitation
from referral.cases.queries import case_for, case_state
from referral.cases.timeline import NewEntry, append
from referral.clock import day_at
from referral.core.workflow import Move, Role, Stage
from referral.errors import Invalid, NotFound
from referral.horses.models import Horse
from referral.horses.queries import horse_for, typed_owner
from referral.horses.service import MendOwner, mend_owner, replace_owner

OWNER = {"role": Role.OWNER.value}


def mend_owner_of(
    session: Session, mender_id: UUID, horse_id: UUID, command: MendOwner, now: datetime
) -> None:
    """Mend who was typed as a horse's owner, and ask them in place of whom was asked.

    Raises
    ------
    NotFound
        If the horse is none that they or a colleague recorded.
    WrongState
        If somebody is its owner already.
    Invalid
        If nothing is changed, or they have asked too many.
    """
    horse = horse_for(session, mender_id, horse_id)
    lock_horse(session, horse.id)
    session.refresh(horse)
    before = (typed_owner(session, horse).email or "").lower()
    mend_owner(session, mender_id, horse, command, now)
    if before == command.email.lower():
        return
    cases = session.scalars(
        select(Case).where(Case.horse_id == horse_id).order_by(Case.number)
    ).unique()
    for case in cases:
        access = _access(session, mender_id, case.number, now)
        for row in _asked_by(session, case.id, before):
            _take_back(session, access, row, mender_id, now)
        if _needs_owner(session, case.id):
            _ask(session, access, Ask(case.id, Role.OWNER, command.email, mender_id), now)


def owner_taken(session: Session, horse_id: UUID) -> Person | None:
    """Return who has accepted as a horse's owner, if anybody has."""
    owner = select(Horse.owner_id).where(Horse.id == horse_id).scalar_subquery()
    return session.scalars(select(Person).where(Person.id == owner)).one_or_none()


@dataclass(frozen=True, slots=True)
class CorrectOwner:
    """Who the owner is instead of whoever accepted, why, and on what the form was made."""

    number: int
    owner: MendOwner
    reason: str
    happened_on: date
    based_on: int | None


def correct_owner(
    session: Session, access: CaseAccess, command: CorrectOwner, now: datetime
) -> None:
    """Take a horse from somebody who accepted as its owner and is not, and ask who is.

    Raises
    ------
    NotAllowed
        If it is not theirs to do.
    WrongState
        If nobody had accepted.
    Invalid
        If the address is that person's, or they have asked too many.
    OutOfDate
        If the case has moved on since the form was opened.
    """
    access.check_role(Move.CORRECT_OWNER)
    lock_horse(session, access.horse_id)
    horse = session.get_one(Horse, access.horse_id)
    session.refresh(horse)
    wrong = replace_owner(session, access.actor_id, horse, command.owner, now)
    cases = session.scalars(select(Case).where(Case.horse_id == horse.id).order_by(Case.number))
    for case in cases.unique().all():
        here = _access(session, access.actor_id, case.number, now)
        for row in _asked_by(session, case.id, wrong.email):  # before the case: others do so too
            _take_back(session, here, row, access.actor_id, now)
        _lock(session, case.id)
        _take_off(session, case, wrong, now)
        if here is not None and here.may_ever(Move.CORRECT_OWNER):
            _say_so(session, here, wrong, command, now)
        if _needs_owner(session, case.id):
            ask = Ask(case.id, Role.OWNER, command.owner.email, access.actor_id)
            _ask(session, here, ask, now)


def _lock(session: Session, case_id: UUID) -> None:
    """Keep what the wrong person does on a case meanwhile from being overlooked."""
    by_id = select(Case.id).where(Case.id == case_id)
    session.scalars(by_id.with_for_update(key_share=True)).one()


def _take_off(session: Session, case: Case, wrong: Person, now: datetime) -> None:
    rows = select(CaseMember).where(
        CaseMember.case_id == case.id,
        CaseMember.person_id == wrong.id,
        CaseMember.role == Role.OWNER.value,
        CaseMember.until.is_(None),
    )
    for row in session.scalars(rows):
        row.until = now
    session.flush()


def _say_so(
    session: Session, access: CaseAccess, wrong: Person, command: CorrectOwner, now: datetime
) -> None:
    answers = answers_by(session, access.case_id, wrong.id)
    facts: dict[str, object] = {"person": str(wrong.id)}
    if answers and answers[-1].falls:
        facts["consent_falls"] = True
    texts = {"reason": command.reason}
    based_on = command.based_on if access.number == command.number else None
    new = NewEntry(Move.CORRECT_OWNER, command.happened_on, facts, texts, None, based_on)
    append(session, access, new, now)


@dataclass(frozen=True, slots=True)
class Answer:
    """Consent that somebody gave or declined: to which plan, when, and whether it counts now."""

    plan_n: int
    given: bool
    on: date
    falls: bool


def answers_by(session: Session, case_id: UUID, person_id: UUID) -> tuple[Answer, ...]:
    """Return what somebody themselves answered as the owner on a case, the first one first."""
    kinds = (Move.GIVE_CONSENT.value, Move.DECLINE_CONSENT.value)
    rows = session.scalars(
        select(Entry).where(Entry.case_id == case_id, Entry.kind.in_(kinds)).order_by(Entry.seq)
    ).all()
    return tuple(
        Answer(
            each.content["plan_n"],
            each.kind == Move.GIVE_CONSENT,
            each.happened_on,
            falls=each is rows[-1] and each.kind == Move.GIVE_CONSENT,
        )
        for each in rows
        if each.actor_id == person_id
    )


def _access(session: Session, person_id: UUID, number: int, now: datetime) -> CaseAccess | None:
    """Return the case as this person may change who is asked onto it, or None if they may not."""
    try:
        access = case_for(session, person_id, number, now)
    except NotFound:
        return None
    return access if access.may_ever(Move.INVITE) else None


def _asked_by(session: Session, case_id: UUID, email: str) -> list[Invitation]:
    return [
        each.row
        for each in not_accepted(session, case_id)
        if each.row.role == Role.OWNER and each.row.email == email and not each.declined
    ]


def _take_back(
    session: Session, access: CaseAccess | None, row: Invitation, mender_id: UUID, now: datetime
) -> None:
    lock_invitation(session, row.id)
    end_invitation(session, row, "taken_back", mender_id, now)
    if access is not None:
        today = day_at(now, access.zone)
        append(session, access, NewEntry(Move.TAKE_INVITE_BACK, today, OWNER, {}, row.id), now)


def _needs_owner(session: Session, case_id: UUID) -> bool:
    state, _revision = case_state(session, case_id)
    return state.stage is not Stage.CLOSED and not has(session, case_id, Role.OWNER)


def _ask(session: Session, access: CaseAccess | None, ask: Ask, now: datetime) -> None:
    asked = {(each.email, each.role) for each in asked_onto(session, ask.case_id, now)}
    if (ask.email.lower(), ask.role.value) in asked:
        return
    try:
        row = keep_invitation(session, ask, now)
    except Invalid as error:
        raise Invalid(error.message, {"owner_email": error.faults["email"]}) from error
    if access is not None:
        today = day_at(now, access.zone)
        new = NewEntry(Move.INVITE, today, OWNER, {"email": row.email}, row.id)
        append(session, access, new, now)
