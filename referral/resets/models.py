"""What was fitted, where it differs from the plan and why, countersign, next date."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Reset(Base):
    """One shoeing visit as recorded; a correction is a new row that names the old one."""

    __tablename__ = "reset"
    __table_args__ = (Index(None, "case_id", "n"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    n: Mapped[int]
    plan_id: Mapped[UUID] = mapped_column(ForeignKey("plan.id"))
    corrects_id: Mapped[UUID | None] = mapped_column(ForeignKey("reset.id"))
    fitted_on: Mapped[date]
    due_on: Mapped[date]
    found: Mapped[str | None]
    comfort: Mapped[str | None]
    advice: Mapped[str | None]
    farrier_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]


class ResetLimb(Base):
    """What was done to one limb, in the plan's own keys."""

    __tablename__ = "reset_limb"
    __table_args__ = (UniqueConstraint("reset_id", "limb"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    reset_id: Mapped[UUID] = mapped_column(ForeignKey("reset.id"))
    limb: Mapped[str]
    content: Mapped[dict[str, Any]]


class Deviation(Base):
    """One difference from the plan with the farrier's reason: asked for beyond its tolerance."""

    __tablename__ = "deviation"
    __table_args__ = (UniqueConstraint("reset_id", "limb", "field"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    reset_id: Mapped[UUID] = mapped_column(ForeignKey("reset.id"))
    limb: Mapped[str]
    field: Mapped[str]
    planned: Mapped[str]
    fitted: Mapped[str]
    reason: Mapped[str]


class Countersign(Base):
    """The vet's answer to a reset: countersigned, or a correction asked for."""

    __tablename__ = "countersign"
    __table_args__ = (Index(None, "reset_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    reset_id: Mapped[UUID] = mapped_column(ForeignKey("reset.id"))
    decision: Mapped[str]
    words: Mapped[str | None]
    vet_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    signed_at: Mapped[datetime]


class Recheck(Base):
    """The next look: when, whose it is, and which films are wanted."""

    __tablename__ = "recheck"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    due_on: Mapped[date]
    owner_role: Mapped[str]
    owner_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    films_wanted: Mapped[str | None]
    set_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    set_at: Mapped[datetime]
