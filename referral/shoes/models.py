"""A forge's stock of shoes: an ordinary list that is kept up to date, no record of a case."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class StockShoe(Base):
    """One kind of shoe on a forge's shelf, and how many of it; ``revision`` counts its changes."""

    __tablename__ = "stock_shoe"
    __table_args__ = (
        Index(None, "organisation_id"),
        CheckConstraint("count >= 0", name="count_not_negative"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    organisation_id: Mapped[UUID] = mapped_column(ForeignKey("organisation.id"))
    category: Mapped[str]
    material: Mapped[str]
    size_label: Mapped[str | None]
    length_mm: Mapped[float]
    width_mm: Mapped[float]
    web_mm: Mapped[float]
    thickness_mm: Mapped[float]
    count: Mapped[int]
    note: Mapped[str | None]
    revision: Mapped[int]
    added_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    added_at: Mapped[datetime]
    changed_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    changed_at: Mapped[datetime]
    removed_at: Mapped[datetime | None]
