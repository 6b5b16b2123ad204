"""The offices behind a case: coordinators of the practices and forges that have a part in it.

A coordinator who is not on the case has no way into it. They see of it what the diary shows, and
are told what waits on their organisation.
"""

from collections.abc import Collection
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from referral.accounts.models import Membership
from referral.cases.models import CaseMember
from referral.core.workflow import Role


def office_people(session: Session, case_id: UUID, roles: Collection[Role]) -> frozenset[UUID]:
    """Return the coordinators of the organisations for which somebody is one of these here."""
    offices = select(CaseMember.organisation_id).where(
        CaseMember.case_id == case_id,
        CaseMember.until.is_(None),
        CaseMember.role.in_([role.value for role in roles]),
        CaseMember.organisation_id.is_not(None),
    )
    theirs = select(Membership.person_id).where(
        Membership.role == Role.COORDINATOR.value,
        Membership.until.is_(None),
        Membership.organisation_id.in_(offices),
    )
    return frozenset(session.scalars(theirs))


def offices_of(person_id: UUID) -> Select[UUID | None]:
    """Return the query for the organisations that this person coordinates now."""
    return select(Membership.organisation_id).where(
        Membership.person_id == person_id,
        Membership.role == Role.COORDINATOR.value,
        Membership.until.is_(None),
        Membership.organisation_id.is_not(None),
    )
