"""What organisations set in the place of rules. Rows are only ever added."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKey, Index, Text
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class RuleChangeRow(Base):
    """How an organisation wants one rule from a day on; a later row takes its place.

    ``limits`` are the tiers of ``stance`` limits, ``text`` and ``topic`` an own rule's file.
    """

    __tablename__ = "rule_change"
    __table_args__ = (
        Index(None, "organisation_id", "rule"),
        CheckConstraint("stance in ('limits', 'off', 'shipped', 'own')", name="stance_known"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    organisation_id: Mapped[UUID] = mapped_column(ForeignKey("organisation.id"))
    rule: Mapped[str]
    stance: Mapped[str]
    since: Mapped[date]
    reason: Mapped[str] = mapped_column(Text)
    evidence: Mapped[str | None]
    source: Mapped[str | None]
    limits: Mapped[list[Any] | None]
    topic: Mapped[str | None]
    text: Mapped[str | None] = mapped_column(Text)
    set_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    set_at: Mapped[datetime]
