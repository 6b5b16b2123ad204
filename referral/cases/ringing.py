"""Whom to ring about a horse: its vets, their practices out of hours, and its farriers."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.queries import select_people

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
    return (*_in_part(everybody, "vet"), *_closed(everybody), *_in_part(everybody, "farrier"))


def to_ring(contacts: Iterable[Contact]) -> tuple[tuple[str, str], ...]:
    """Return the numbers that a red flag shows: the vets' and their practices' out of hours."""
    return tuple((each.name, each.phone) for each in contacts if each.role != "farrier")


def _in_part(people: Iterable[Any], role: str) -> tuple[Contact, ...]:
    return tuple(
        Contact(each.name, role, each.phone) for each in people if each.role == role and each.phone
    )


def _closed(people: Iterable[Any]) -> tuple[Contact, ...]:
    """Return each vet's practice's number once; where there are several, with whose each is."""
    numbers = {
        each.organisation: each.out_of_hours
        for each in people
        if each.role == "vet" and each.out_of_hours
    }
    several = len(numbers) > 1
    return tuple(
        Contact(f"{OUT_OF_HOURS}, {practice}" if several else OUT_OF_HOURS, "", phone)
        for practice, phone in numbers.items()
    )
