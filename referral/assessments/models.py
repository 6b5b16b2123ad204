"""Assessments: what was seen on one limb on one day."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Assessment(Base):
    """One assessment of one limb; a later one stands beside it and never takes its place."""

    __tablename__ = "assessment"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    limb: Mapped[str]
    seen_on: Mapped[date]
    answers: Mapped[dict[str, Any]]
    words: Mapped[str | None]
    reading_set_id: Mapped[UUID | None] = mapped_column(ForeignKey("reading_set.id"))
    recorded_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]


class AssessmentPhoto(Base):
    """A photo of what was seen, without place, camera and owner; shown once it has been read."""

    __tablename__ = "assessment_photo"
    __table_args__ = (Index(None, "case_id"), Index(None, "assessment_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    assessment_id: Mapped[UUID] = mapped_column(ForeignKey("assessment.id"))
    about: Mapped[str]
    original_sha256: Mapped[str]
    original_name: Mapped[str]
    picture_sha256: Mapped[str | None]
    refusal: Mapped[str | None]
    added_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    added_at: Mapped[datetime]
