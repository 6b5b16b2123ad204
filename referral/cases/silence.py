"""Somebody who was asked onto a case is not coming: whoever asked is told, once.

They declined, or seven days went by without an answer. Neither says whether anybody is known by
the address that was asked.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.invitations import lock_invitation
from referral.cases.models import CaseMember, Invitation, InvitationEnd
from referral.cases.queries import case_state
from referral.core.workflow import Stage
from referral.notices.policy import NOT_COMING
from referral.notices.service import Happened, tell
from referral.storage.jobs import Finish, Handler


def silence_teller(now: Callable[[], datetime]) -> Handler:
    """Return how whoever asked is told that nobody answered in time."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        invitation_id = UUID(payload["invitation"])
        return lambda session: tell_of_silence(session, invitation_id, now())

    return Handler(prepare, lambda _payload: lambda _session: None)


def tell_of_silence(session: Session, invitation_id: UUID, now: datetime) -> None:
    """Tell whoever asked that an invitation is over, unless it ended otherwise before."""
    lock_invitation(session, invitation_id)
    ended = select(InvitationEnd.id).where(InvitationEnd.invitation_id == invitation_id)
    if session.scalars(ended).first() is None:
        tell_who_asked(session, session.get_one(Invitation, invitation_id), now)


def tell_who_asked(session: Session, row: Invitation, now: datetime) -> None:
    """Tell whoever asked that nobody comes, if they are on the case and it is open."""
    state, _revision = case_state(session, row.case_id)
    there = select(CaseMember.id).where(
        CaseMember.case_id == row.case_id,
        CaseMember.person_id == row.asked_by,
        CaseMember.until.is_(None),
    )
    if state.stage is not Stage.CLOSED and session.scalars(there).first() is not None:
        tell(session, {row.asked_by}, Happened(row.case_id, NOT_COMING, None), now)
