"""The verbs of the stock: put on the shelf, change, take off, take in a whole list."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.errors import Invalid, NotFound, OutOfDate
from referral.shoes.models import StockShoe
from referral.shoes.outline import ShoeShape, outline_of
from referral.shoes.policy import Forge, forges_of
from referral.shoes.queries import stock_for, stock_shoe_for
from referral.storage.ids import new_id

CHANGED = "Somebody of your forge has changed this shoe since you opened the page."
MOST_KINDS = 5000
FULL = f"A forge keeps at most {MOST_KINDS} kinds of shoes here."


@dataclass(frozen=True, slots=True)
class StockLine:
    """One kind of shoe as typed or read from a list."""

    category: str
    material: str
    size_label: str | None
    length_mm: float
    width_mm: float
    web_mm: float
    thickness_mm: float
    count: int
    note: str | None

    @property
    def shape(self) -> ShoeShape:
        """Return the shoe as its outline is drawn."""
        return shape_of(self)


def shape_of(line: StockLine | StockShoe) -> ShoeShape:
    """Return a shoe of the stock as its outline is drawn."""
    return ShoeShape(
        category=line.category,
        length_mm=line.length_mm,
        width_mm=line.width_mm,
        web_mm=line.web_mm,
        thickness_mm=line.thickness_mm,
        material=line.material,
    )


def line_of(row: StockShoe) -> StockLine:
    """Return a shoe of the stock as it would be typed."""
    return StockLine(**{each.name: getattr(row, each.name) for each in fields(StockLine)})


def forge_of(actor: Actor, forge_id: UUID | str | None) -> Forge:
    """Return the farrier's forge that is named, or the first one if none is.

    Raises
    ------
    NotFound
        If it is not this farrier's.
    """
    forges = forges_of(actor)
    if forge_id is None:
        return forges[0]
    found = next((each for each in forges if str(each.organisation_id) == str(forge_id)), None)
    if found is None:
        raise NotFound("This is not your forge.")
    return found


def add_shoe(
    session: Session, actor: Actor, forge: Forge, line: StockLine, now: datetime
) -> StockShoe:
    """Put a kind of shoe on the forge's shelf.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    outline_of(line.shape)
    row = StockShoe(
        id=new_id(now),
        organisation_id=forge.organisation_id,
        **asdict(line),
        revision=1,
        added_by=actor.person_id,
        added_at=now,
        changed_by=actor.person_id,
        changed_at=now,
        removed_at=None,
    )
    session.add(row)
    session.flush()
    return row


def change_shoe(actor: Actor, row: StockShoe, line: StockLine, now: datetime) -> None:
    """Change a kind of shoe to what is said now.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    outline_of(line.shape)
    for name, value in asdict(line).items():
        setattr(row, name, value)
    _touch(row, actor, now)


def remove_shoe(actor: Actor, row: StockShoe, now: datetime) -> None:
    """Take a kind of shoe off the list."""
    row.removed_at = now
    _touch(row, actor, now)


def opened_shoe(session: Session, actor: Actor, shoe_id: UUID, revision: int | None) -> StockShoe:
    """Return the shoe that a form was opened on, if nobody has changed it since.

    Raises
    ------
    NotFound
        If this farrier has no such shoe.
    OutOfDate
        If it was changed since, or the form does not say what it was opened on.
    """
    row = stock_shoe_for(session, actor, shoe_id, to_change=True)
    if row.revision != revision:
        raise OutOfDate(CHANGED)
    return row


def take_in(
    session: Session,
    actor: Actor,
    forge: Forge,
    lines: Sequence[StockLine],
    now: datetime,
    *,
    in_place: bool,
) -> int:
    """Take in a whole list beside the stock, or in its place; return how many kinds.

    Raises
    ------
    Invalid
        If there is no shoe of some measures, or the shelf would hold more than it can; the
        transaction must then be given up, so that nothing is kept.
    """
    held = [
        each for each in stock_for(session, actor) if each.organisation_id == forge.organisation_id
    ]
    if len(lines) + (0 if in_place else len(held)) > MOST_KINDS:
        raise Invalid(FULL)
    if in_place:
        for row in held:
            remove_shoe(actor, row, now)
    for line in lines:
        add_shoe(session, actor, forge, line, now)
    return len(lines)


def _touch(row: StockShoe, actor: Actor, now: datetime) -> None:
    row.revision += 1
    row.changed_by = actor.person_id
    row.changed_at = now
