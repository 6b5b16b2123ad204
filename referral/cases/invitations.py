"""Invitations onto a case: one is open for seven days, and is then answered by nobody.

Whether one is open is worked out from when it was made and from whether it ended; asking again is
a new one. Who asks is held to so many, since each is a letter to somebody who may not want it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from referral.accounts.models import Organisation, Person
from referral.cases.models import CaseMember, Invitation, InvitationEnd
from referral.core.workflow import Role
from referral.errors import Invalid, NotFound
from referral.storage.ids import new_id
from referral.storage.jobs import enqueue
from referral.storage.together import CaseId, Rows

VALID_FOR = timedelta(days=7)
MOST_OPEN = 60
MOST_A_DAY = 25
"""Of one person's, not answered yet and within 24 hours (common practice, no source)."""
A_DAY = timedelta(days=1)

WRITE_TO_ASKED = "write_to_asked"
"""The work of writing to the address that is asked."""

TELL_OF_SILENCE = "tell_of_silence"
"""The work of telling whoever asked that nobody answered in time."""


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked of an address: onto which case, as what, and who asks."""

    case_id: UUID
    role: Role
    email: str
    by: UUID


def ends_at(row: Any) -> datetime:  # noqa: ANN401 - an invitation, or a row with its names
    """Return the moment from which an invitation can be accepted no more."""
    asked_at: datetime = row.asked_at
    return asked_at + VALID_FOR


def open_ones(now: datetime) -> Select[Any]:
    """Return the query for invitations that can be accepted now, the longest open first."""
    ended = select(InvitationEnd.invitation_id)
    return (
        select(Invitation)
        .where(Invitation.id.not_in(ended), Invitation.asked_at > now - VALID_FOR)
        .order_by(Invitation.asked_at, Invitation.id)
    )


def open_invitation(session: Session, invitation_id: UUID, now: datetime) -> Invitation:
    """Return an invitation that can be accepted.

    Raises
    ------
    NotFound
        If it was answered or taken back, or is too old.
    """
    found = open_ones(now).where(Invitation.id == invitation_id)
    row: Invitation | None = session.scalars(found).one_or_none()
    if row is None:
        raise NotFound("You are not asked this, or it was taken back.")
    return row


def how_ended(session: Session, invitation_id: UUID) -> str | None:
    """Return how an invitation was answered or taken back, or None if it was not."""
    by_id = InvitationEnd.invitation_id == invitation_id
    return session.scalars(select(InvitationEnd.how).where(by_id)).one_or_none()


def lock_invitation(session: Session, invitation_id: UUID) -> None:
    """Keep an invitation from ending in two ways at once, until this transaction ends."""
    by_id = select(Invitation.id).where(Invitation.id == invitation_id)
    session.scalars(by_id.with_for_update(key_share=True)).one_or_none()


def asked_onto(session: Session, case_id: UUID, now: datetime) -> Sequence[Invitation]:
    """Return who is asked onto a case and can still accept, the longest first."""
    return session.scalars(open_ones(now).where(Invitation.case_id == case_id)).all()


@dataclass(frozen=True, slots=True)
class Asked:
    """An invitation as whoever is asked sees it; of the case itself nothing is told yet."""

    invitation_id: UUID
    role: Role
    by: str
    organisation: str | None
    asked_at: datetime
    ends_at: datetime


def asked_in(session: Session, found: Select[Any]) -> tuple[Asked, ...]:
    """Return invitations as whoever is asked sees them."""
    rows = session.execute(
        found.add_columns(Person.name, Organisation.name)
        .join(Person, Person.id == Invitation.asked_by)
        .outerjoin(
            CaseMember,
            (CaseMember.case_id == Invitation.case_id)
            & (CaseMember.person_id == Invitation.asked_by),
        )
        .outerjoin(Organisation, Organisation.id == CaseMember.organisation_id)
    ).all()
    each = {
        row.id: Asked(row.id, Role(row.role), name, organisation, row.asked_at, ends_at(row))
        for row, name, organisation in rows
    }
    return tuple(each.values())


@dataclass(frozen=True, slots=True)
class Standing:
    """The last that came of asking an address as something."""

    row: Any
    declined: bool


def not_accepted(session: Session, case_id: UUID) -> tuple[Standing, ...]:
    """Return who was asked onto a case and has not accepted: each address once for a role."""
    return standing_of(session.execute(select_invitations(case_id)))


def select_invitations(case_id: CaseId) -> Rows:
    """Return the query for every invitation onto a case, oldest first, with how each ended."""
    return (
        select(
            Invitation.id,
            Invitation.email,
            Invitation.role,
            Invitation.asked_at,
            InvitationEnd.how,
        )
        .outerjoin(InvitationEnd, InvitationEnd.invitation_id == Invitation.id)
        .where(Invitation.case_id == case_id)
        .order_by(Invitation.asked_at, Invitation.id)
    )


def standing_of(rows: Iterable[Any]) -> tuple[Standing, ...]:
    """Return of invitations, oldest first, the last to each address for a role, if not accepted."""
    last = {(row.email, row.role): row for row in rows}
    return tuple(
        Standing(row, row.how == "declined")
        for row in last.values()
        if row.how in (None, "declined")
    )


def keep_invitation(session: Session, ask: Ask, now: datetime) -> Invitation:
    """Keep that an address is asked, and have it written to; its entry is the caller's.

    Raises
    ------
    Invalid
        If it is asked the same already, or whoever asks has asked too many.
    """
    email = ask.email.strip().lower()
    asked = {(each.email, each.role) for each in asked_onto(session, ask.case_id, now)}
    if (email, ask.role.value) in asked:
        raise Invalid("They are asked already.", {"email": ["They are asked already."]})
    if why := too_many(session, ask.by, now):
        raise Invalid("Nobody more can be asked now.", {"email": [why]})
    row = Invitation(
        id=new_id(now),
        case_id=ask.case_id,
        email=email,
        role=ask.role.value,
        asked_by=ask.by,
        asked_at=now,
    )
    session.add(row)
    session.flush()
    enqueue(session, WRITE_TO_ASKED, {"invitation": str(row.id)}, now)
    enqueue(session, TELL_OF_SILENCE, {"invitation": str(row.id)}, now, ends_at(row))
    return row


def too_many(session: Session, person_id: UUID, now: datetime) -> str:
    """Return why somebody can ask nobody more now, in one sentence, or an empty string."""
    mine = open_ones(now).where(Invitation.asked_by == person_id).order_by(None).subquery()
    if (session.scalar(select(func.count()).select_from(mine)) or 0) >= MOST_OPEN:
        return (
            f"{MOST_OPEN} people whom you asked have not answered yet: take some of that back, or "
            "wait until they answer or the seven days are over."
        )
    today = select(func.count(Invitation.id)).where(
        Invitation.asked_by == person_id, Invitation.asked_at > now - A_DAY
    )
    if (session.scalar(today) or 0) >= MOST_A_DAY:
        return f"You have asked {MOST_A_DAY} people within a day: ask this one tomorrow."
    return ""


def end_invitation(
    session: Session, row: Invitation, how: str, person_id: UUID | None, now: datetime
) -> None:
    """Keep how an invitation ended; by nobody known where its letter's own address was used."""
    end = InvitationEnd(
        id=new_id(now), invitation_id=row.id, how=how, ended_by=person_id, ended_at=now
    )
    session.add(end)
    session.flush()
