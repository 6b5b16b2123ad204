"""Reads on horses: those a person recorded, owns, or has a case of."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select, func, or_, select
from sqlalchemy.orm import Session

from referral.accounts.models import Membership, Person
from referral.errors import NotFound
from referral.horses.models import Horse, TypedOwner
from referral.storage.together import Rows


def visible_horses(person_id: UUID) -> Select[Horse]:
    """Return the query for horses a person owns, or that they or a colleague recorded."""
    mine = select(Membership.organisation_id).where(
        Membership.person_id == person_id,
        Membership.until.is_(None),
        Membership.organisation_id.is_not(None),
    )
    colleagues = select(Membership.person_id).where(Membership.organisation_id.in_(mine))
    return select(Horse).where(
        or_(
            Horse.owner_id == person_id,
            Horse.recorded_by == person_id,
            Horse.recorded_by.in_(colleagues),
        )
    )


def horses_of(session: Session, person_id: UUID) -> Sequence[Horse]:
    """Return the horses a person may open a case on, by name."""
    return session.scalars(visible_horses(person_id).order_by(Horse.name, Horse.id)).all()


def horse_for(session: Session, person_id: UUID, horse_id: UUID) -> Horse:
    """Return one horse that this person may see.

    Raises
    ------
    NotFound
        If there is none, or the person may not see it.
    """
    horse = session.scalars(visible_horses(person_id).where(Horse.id == horse_id)).one_or_none()
    if horse is None:
        raise NotFound("There is no such horse.")
    return horse


@dataclass(frozen=True, slots=True)
class OwnerAsTyped:
    """An owner as somebody typed them: a name and an address."""

    name: str | None
    email: str | None


def typed_owner(session: Session, horse: Horse) -> OwnerAsTyped:
    """Return the owner of a horse as they were typed last."""
    return typed_owners(session, horse)[-1].owner


@dataclass(frozen=True, slots=True)
class Typing:
    """An owner as typed, by whom and when."""

    owner: OwnerAsTyped
    by: str
    at: datetime


def typed_owners(session: Session, horse: Horse) -> tuple[Typing, ...]:
    """Return every owner of a horse that was typed, the first with its recording."""
    rows = session.execute(
        select(TypedOwner, Person.name)
        .join(Person, Person.id == TypedOwner.typed_by)
        .where(TypedOwner.horse_id == horse.id)
        .order_by(TypedOwner.typed_at, TypedOwner.id)
    ).all()
    first = Typing(OwnerAsTyped(horse.owner_name, horse.owner_email), "", horse.recorded_at)
    return (
        first,
        *(Typing(OwnerAsTyped(row.name, row.email), by, row.typed_at) for row, by in rows),
    )


def owner_name_of(session: Session, horse: Horse) -> str | None:
    """Return the name of the horse's owner, as it was typed until somebody has accepted."""
    if horse.owner_id is None:
        return typed_owner(session, horse).name
    return session.scalars(select(Person.name).where(Person.id == horse.owner_id)).one()


def select_animal(horse_id: Any) -> Rows:  # noqa: ANN401 - an id, or a query for one
    """Return the query for what a case's page says of its horse, with the owner's name."""
    typed = (
        select(TypedOwner.name)
        .where(TypedOwner.horse_id == Horse.id)
        .order_by(TypedOwner.typed_at.desc(), TypedOwner.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    return (
        select(
            Horse.name,
            Horse.animal,
            Horse.sex,
            Horse.colour,
            Horse.breed,
            Horse.born_year,
            Horse.weight_kg,
            Horse.chip,
            Horse.ueln,
            func.coalesce(Person.name, typed, Horse.owner_name).label("owner"),
        )
        .outerjoin(Person, Person.id == Horse.owner_id)
        .where(Horse.id == horse_id)
    )
