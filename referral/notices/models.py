"""A notice: one entry of a case, for one person; the letters that say so; each person's wishes."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Letter(Base):
    """One mail to one person; its id is the mail's own too: a second try is the same mail.

    It is to ``person_id``, or to whoever has the address of ``invitation_id``.
    """

    __tablename__ = "letter"
    __table_args__ = (
        CheckConstraint("outcome in ('sent', 'given_up', 'not_needed')", name="outcome_known"),
        CheckConstraint("(outcome is null) = (ended_at is null)", name="ended_with_outcome"),
        CheckConstraint("(person_id is null) <> (invitation_id is null)", name="to_one"),
        Index(None, "person_id"),
        Index(None, "invitation_id"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID | None] = mapped_column(ForeignKey("person.id"))
    invitation_id: Mapped[UUID | None] = mapped_column(ForeignKey("invitation.id"))
    made_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    outcome: Mapped[str | None]
    fault: Mapped[str | None]


class Notice(Base):
    """Something that happened on a case that a person should know.

    ``settled_at`` says since when no letter is to be made of it any more: it is in ``letter_id``,
    or needs none. ``undelivered_id`` is the letter that a notice about lost mail speaks of,
    ``facts`` what one without an entry tells of.
    """

    __tablename__ = "notice"
    __table_args__ = (
        Index(None, "person_id", "read_at"),
        Index(None, "person_id", "settled_at"),
        Index(None, "letter_id"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    kind: Mapped[str]
    made_at: Mapped[datetime]
    read_at: Mapped[datetime | None]
    entry_id: Mapped[UUID | None] = mapped_column(ForeignKey("entry.id"))
    settled_at: Mapped[datetime | None]
    letter_id: Mapped[UUID | None] = mapped_column(ForeignKey("letter.id"))
    undelivered_id: Mapped[UUID | None] = mapped_column(ForeignKey("letter.id"))
    facts: Mapped[dict[str, Any] | None]


class StoppedAddress(Base):
    """An address that wants no more letters asking it onto a case: its SHA-256, since when."""

    __tablename__ = "stopped_address"
    __table_args__ = (UniqueConstraint("email_sha256"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    email_sha256: Mapped[str]
    stopped_at: Mapped[datetime]


class MailChoice(Base):
    """What mail a person wants and when; who never chose has no row."""

    __tablename__ = "mail_choice"
    __table_args__ = (
        CheckConstraint("rhythm in ('at_once', 'daily')", name="rhythm_known"),
        CheckConstraint("(quiet_from is null) = (quiet_until is null)", name="quiet_has_both_ends"),
    )

    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"), primary_key=True)
    without: Mapped[list[Any]]
    rhythm: Mapped[str]
    daily_hour: Mapped[int]
    quiet_from: Mapped[int | None]
    quiet_until: Mapped[int | None]
    zone: Mapped[str]
    changed_at: Mapped[datetime]
