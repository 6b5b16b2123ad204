"""Reads on stock, always for the forges of the farrier who asks."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.errors import NotFound
from referral.shoes.models import StockShoe
from referral.shoes.policy import forges_of


def visible_stock(actor: Actor) -> Select[StockShoe]:
    """Return the query for what stands on the shelves of this farrier's forges.

    Raises
    ------
    NotFound
        If this person is no forge's farrier.
    """
    forges = [each.organisation_id for each in forges_of(actor)]
    return select(StockShoe).where(
        StockShoe.organisation_id.in_(forges), StockShoe.removed_at.is_(None)
    )


def stock_for(session: Session, actor: Actor) -> Sequence[StockShoe]:
    """Return the stock this farrier may see, by category and size.

    Raises
    ------
    NotFound
        If this person is no forge's farrier.
    """
    by_size = (StockShoe.category, StockShoe.width_mm, StockShoe.length_mm, StockShoe.id)
    return session.scalars(visible_stock(actor).order_by(*by_size)).all()


def stock_shoe_for(
    session: Session, actor: Actor, shoe_id: UUID, *, to_change: bool = False
) -> StockShoe:
    """Return one shoe of the stock this farrier may see; who changes it waits for another who does.

    Raises
    ------
    NotFound
        If there is none, it was removed, or it is another forge's.
    """
    asked = visible_stock(actor).where(StockShoe.id == shoe_id)
    row = session.scalars(asked.with_for_update() if to_change else asked).one_or_none()
    if row is None:
        raise NotFound("There is no such shoe in your stock.")
    return row
