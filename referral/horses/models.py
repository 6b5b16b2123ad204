"""The horse: identity and who owns it."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Horse(Base):
    """A horse. ``animal`` is the profile its limits are chosen by.

    The owner's name and email stand as whoever recorded the horse typed them, and what was typed
    in their place in :class:`TypedOwner`; ``owner_id`` is set to somebody the recorder knew or who
    accepted on a case. A vet who takes it from them types who it is instead: that row says both.
    """

    __tablename__ = "horse"
    __table_args__ = (Index(None, "owner_id"), Index(None, "chip"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str]
    animal: Mapped[str]
    chip: Mapped[str | None]
    ueln: Mapped[str | None]
    born_year: Mapped[int | None]
    breed: Mapped[str | None]
    sex: Mapped[str | None]
    colour: Mapped[str | None]
    weight_kg: Mapped[float | None]
    yard: Mapped[str | None]
    owner_name: Mapped[str | None]
    owner_email: Mapped[str | None]
    owner_id: Mapped[UUID | None] = mapped_column(ForeignKey("person.id"))
    recorded_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]


class TypedOwner(Base):
    """An owner's name and address, typed in place of what stood before; the last one holds."""

    __tablename__ = "typed_owner"
    __table_args__ = (Index(None, "horse_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    horse_id: Mapped[UUID] = mapped_column(ForeignKey("horse.id"))
    name: Mapped[str]
    email: Mapped[str]
    instead_of: Mapped[UUID | None] = mapped_column(ForeignKey("person.id"))
    """Who had accepted as the owner until then, and was not."""
    typed_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    typed_at: Mapped[datetime]
