"""A horse's owner was typed wrongly: the address is mended, and another is asked in its place.

The address that was wrong can take the horse up no more, on any case of it. Where whoever mends
it is on the case the timeline says both; a colleague's case is not theirs to write in, and there
the invitations alone say who did it and when.
"""

from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

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
from referral.cases.models import Case, Invitation
from referral.cases.queries import case_for, case_state
from referral.cases.timeline import NewEntry, append
from referral.clock import day_at
from referral.core.workflow import Move, Role, Stage
from referral.errors import Invalid, NotFound
from referral.horses.queries import horse_for, typed_owner
from referral.horses.service import MendOwner, mend_owner

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
