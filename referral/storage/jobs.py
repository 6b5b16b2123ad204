"""Work for later: a row in the same transaction as the change it belongs to.

A worker claims a row for a while; one that dies leaves it to the next. So a handler may run
twice, and must do nothing the second time that a person would notice.
"""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Job(Base):
    """One piece of work: what, when from, who has it now, how it ended."""

    __tablename__ = "job"
    __table_args__ = (Index(None, "ended_at", "run_after"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    kind: Mapped[str]
    payload: Mapped[dict[str, Any]]
    made_at: Mapped[datetime]
    run_after: Mapped[datetime]
    claimed_until: Mapped[datetime | None]
    attempts: Mapped[int]
    ended_at: Mapped[datetime | None]
    fault: Mapped[str | None]
