"""Films, the scales set on them, the landmarks placed, and the readings kept."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Film(Base):
    """A film or photo as uploaded: the original by its hash, and the served picture."""

    __tablename__ = "film"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    limb: Mapped[str]
    view: Mapped[str]
    original_sha256: Mapped[str]
    original_name: Mapped[str]
    picture_sha256: Mapped[str]
    width_px: Mapped[int]
    height_px: Mapped[int]
    described: Mapped[dict[str, Any]]
    taken_on: Mapped[date]
    trim: Mapped[str]
    shod: Mapped[str]
    condyles_superimposed: Mapped[bool | None]
    cannon_vertical: Mapped[bool | None]
    on_blocks: Mapped[bool | None]
    beam_at_sole: Mapped[bool | None]
    days_since_trim: Mapped[int | None]
    added_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    added_at: Mapped[datetime]


class Upload(Base):
    """A film or photo that was sent: kept before it is read, and why it could not be read.

    The film it becomes has the same id.
    """

    __tablename__ = "upload"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    given: Mapped[dict[str, Any]]
    original_sha256: Mapped[str]
    original_name: Mapped[str]
    added_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    added_at: Mapped[datetime]
    refused_at: Mapped[datetime | None]
    refusal: Mapped[str | None]
    is_too_large: Mapped[bool]


class ScaleSetting(Base):
    """How a film's pixels become millimetres, as somebody set it."""

    __tablename__ = "scale"
    __table_args__ = (Index(None, "film_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    film_id: Mapped[UUID] = mapped_column(ForeignKey("film.id"))
    given: Mapped[dict[str, Any]]
    state: Mapped[str]
    row_mm: Mapped[float | None]
    column_mm: Mapped[float | None]
    relative_u: Mapped[float]
    set_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    set_at: Mapped[datetime]


class LandmarkSet(Base):
    """All landmarks of a film as placed at one time, in the original's pixels."""

    __tablename__ = "landmark_set"
    __table_args__ = (Index(None, "film_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    film_id: Mapped[UUID] = mapped_column(ForeignKey("film.id"))
    points_px: Mapped[dict[str, Any]]
    landmark_sd_mm: Mapped[float]
    landmark_sds_mm: Mapped[dict[str, Any] | None]
    placed_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    placed_at: Mapped[datetime]


class RepeatPlacement(Base):
    """Landmarks of a film placed once more, only to learn the person's own scatter."""

    __tablename__ = "repeat_placement"
    __table_args__ = (Index(None, "film_id"), Index(None, "placed_by"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    film_id: Mapped[UUID] = mapped_column(ForeignKey("film.id"))
    points_px: Mapped[dict[str, Any]]
    placed_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    placed_at: Mapped[datetime]


class ReadingSet(Base):
    """Readings taken together: off one film, or typed in."""

    __tablename__ = "reading_set"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    limb: Mapped[str]
    film_id: Mapped[UUID | None] = mapped_column(ForeignKey("film.id"))
    scale_id: Mapped[UUID | None] = mapped_column(ForeignKey("scale.id"))
    landmark_set_id: Mapped[UUID | None] = mapped_column(ForeignKey("landmark_set.id"))
    taken_on: Mapped[date]
    absent: Mapped[dict[str, Any]]
    warnings: Mapped[list[Any]]
    recorded_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]


class ReadingRow(Base):
    """One reading, stored as it was measured, with the convention it was taken by.

    Rows older than the column have none: it was not kept.
    """

    __tablename__ = "reading"
    __table_args__ = (Index(None, "reading_set_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    reading_set_id: Mapped[UUID] = mapped_column(ForeignKey("reading_set.id"))
    code: Mapped[str]
    value: Mapped[float]
    u: Mapped[float]
    unit: Mapped[str]
    scale_state: Mapped[str]
    basis: Mapped[str]
    convention: Mapped[dict[str, Any] | None]
