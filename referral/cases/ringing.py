"""Whom to ring about a horse: its vets, their practices out of hours, and its farriers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Organisation
from referral.cases.models import CaseMember
from referral.cases.queries import select_people
from referral.core.workflow import Role

OUT_OF_HOURS = "Out of hours"


@dataclass(frozen=True, slots=True)
class Contact:
    """A number to ring and whose it is; ``role`` is empty for a practice's out of hours."""

    name: str
    role: str
    phone: str


def contacts_on(session: Session, case_id: UUID) -> tuple[Contact, ...]:
    """Return whom to ring on a case."""
    return contacts_of(session.execute(select_people(case_id)).all())


def contacts_of(people: Iterable[Any]) -> tuple[Contact, ...]:
    """Return the vets' numbers, then their practices' out of hours, then the farriers'."""
    everybody = tuple(people)
    numbers = {
        each.organisation: each.out_of_hours
        for each in everybody
        if each.role == "vet" and each.out_of_hours
    }
    return (*_in_part(everybody, "vet"), *_closed(numbers), *_in_part(everybody, "farrier"))


def to_ring(contacts: Iterable[Contact]) -> tuple[tuple[str, str], ...]:
    """Return the numbers that a red flag shows: the vets' and their practices' out of hours."""
    return tuple((each.name, each.phone) for each in contacts if each.role != "farrier")


def _in_part(people: Iterable[Any], role: str) -> tuple[Contact, ...]:
    return tuple(
        Contact(each.name, role, each.phone) for each in people if each.role == role and each.phone
    )


def closed_on(session: Session, case_ids: Iterable[UUID]) -> Mapping[UUID, tuple[Contact, ...]]:
    """Return the out-of-hours numbers of the practices of each case's vets."""
    numbers: dict[UUID, dict[str, str]] = {}
    rows = session.execute(
        select(CaseMember.case_id, Organisation.name, Organisation.out_of_hours_phone)
        .join(Organisation, Organisation.id == CaseMember.organisation_id)
        .where(
            CaseMember.case_id.in_(list(case_ids)),
            CaseMember.role == Role.VET,
            CaseMember.until.is_(None),
        )
        .order_by(CaseMember.since, CaseMember.id)
    )
    for case_id, practice, phone in rows:
        if phone is not None:
            numbers.setdefault(case_id, {})[practice] = phone
    return {case_id: _closed(each) for case_id, each in numbers.items()}


def _closed(numbers: Mapping[str, str]) -> tuple[Contact, ...]:
    """Return each practice's number; where there are several, with whose each is."""
    several = len(numbers) > 1
    return tuple(
        Contact(f"{OUT_OF_HOURS}, {practice}" if several else OUT_OF_HOURS, "", phone)
        for practice, phone in numbers.items()
    )
