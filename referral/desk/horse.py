"""A horse's own page: who may see it, what it is, and the cases of it that they are on."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.cases.queries import cases_of, horses_on_cases
from referral.core.workflow import Role
from referral.desk.pages import DeskRow
from referral.desk.rows import desk_rows
from referral.errors import NotFound
from referral.horses.models import Horse
from referral.horses.pages import HorsePage, horse_page
from referral.horses.queries import owner_name_of, typed_owners, visible_horses


@dataclass(frozen=True, slots=True)
class HorseAndCases:
    """A horse and those of its cases that whoever looks has a part in."""

    horse: HorsePage
    cases: tuple[DeskRow, ...]
    may_open: bool
    may_ask: bool
    may_mend: bool


def horses_seen(session: Session, person_id: UUID) -> Sequence[Horse]:
    """Return one's own horses, those one's organisation recorded, and those one has a case of."""
    mine = visible_horses(person_id).with_only_columns(Horse.id)
    return session.scalars(
        select(Horse)
        .where(or_(Horse.id.in_(mine), Horse.id.in_(horses_on_cases(person_id))))
        .order_by(Horse.name, Horse.id)
    ).all()


def horse_seen(session: Session, person_id: UUID, horse_id: UUID) -> Horse:
    """Return one horse that this person sees.

    Raises
    ------
    NotFound
        If there is none, or they do not see it.
    """
    found = {each.id: each for each in horses_seen(session, person_id)}
    if horse_id not in found:
        raise NotFound("There is no such horse.")
    return found[horse_id]


def horse_and_cases(session: Session, actor: Actor, horse_id: UUID, now: datetime) -> HorseAndCases:
    """Return what a horse's own page shows to this person.

    Raises
    ------
    NotFound
        If they do not see it.
    """
    horse = horse_seen(session, actor.person_id, horse_id)
    cases = [each for each in cases_of(session, actor.person_id) if each.horse_id == horse_id]
    visible = visible_horses(actor.person_id).where(Horse.id == horse_id)
    is_recorders = session.scalars(visible).first() is not None
    return HorseAndCases(
        horse_page(horse, owner_name_of(session, horse), typed_owners(session, horse)),
        desk_rows(session, actor.person_id, cases, now),
        may_open="vet" in actor.roles and is_recorders,
        may_ask=asks_as(actor, horse) is not None,
        may_mend=may_record(actor) and is_recorders and horse.owner_id is None,
    )


def may_record(actor: Actor) -> bool:
    """Say whether somebody records horses, and mends what was typed of their owners."""
    return bool({"vet", "farrier"} & set(actor.roles))


def asks_as(actor: Actor, horse: Horse) -> Role | None:
    """Return as what a person asks for an examination of a horse, or None if they do not."""
    if "farrier" in actor.roles:
        return Role.FARRIER
    return Role.OWNER if horse.owner_id == actor.person_id else None
