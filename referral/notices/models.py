"""A notice: one entry of a case, for one person, read or not."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Notice(Base):
    """Something that happened on a case that a person should know."""

    __tablename__ = "notice"
    __table_args__ = (Index(None, "person_id", "read_at"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    kind: Mapped[str]
    made_at: Mapped[datetime]
    read_at: Mapped[datetime | None]
