"""Sheets, who signed which bytes, and each person's signing key."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKey, Index, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class SheetProposal(Base):
    """A sheet that was asked for: rendered by the worker, then looked at and signed.

    Without a ``pdf_sha256`` it waits, or ``refusal`` says why it cannot be made. A draft, may go.
    """

    __tablename__ = "sheet_proposal"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    kind: Mapped[str]
    subject_sha256: Mapped[str]
    decision: Mapped[dict[str, Any]]
    snapshot_sha256: Mapped[str | None]
    pdf_sha256: Mapped[str | None]
    refusal: Mapped[str | None]
    made_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    made_at: Mapped[datetime]


class Sheet(Base):
    """A signed handover sheet; a newer one replaces, none is edited."""

    __tablename__ = "sheet"
    __table_args__ = (Index(None, "case_id"), Index(None, "replaces_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    kind: Mapped[str]
    plan_id: Mapped[UUID | None] = mapped_column(ForeignKey("plan.id"))
    reset_id: Mapped[UUID | None] = mapped_column(ForeignKey("reset.id"))
    snapshot_sha256: Mapped[str]
    replaces_id: Mapped[UUID | None] = mapped_column(ForeignKey("sheet.id"))
    made_at: Mapped[datetime]


class Signature(Base):
    """One signature: who, when, and the bytes of the sheet that it left.

    ``stamped_at`` is the time authority's, ``stamped_by`` its name, where one is set.
    ``issuer`` is whose certificate it was, where it was not this instance's, and ``asked`` whether
    that issuer could be asked if it was withdrawn. ``level`` is how long it can be checked.
    """

    __tablename__ = "signature"
    __table_args__ = (UniqueConstraint("sheet_id", "position"), Index(None, "pdf_sha256"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    sheet_id: Mapped[UUID] = mapped_column(ForeignKey("sheet.id"))
    position: Mapped[int]
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    role: Mapped[str]
    serial: Mapped[str]
    pdf_sha256: Mapped[str]
    signed_at: Mapped[datetime]
    stamped_at: Mapped[datetime | None]
    stamped_by: Mapped[str | None]
    issuer: Mapped[str | None]
    level: Mapped[str | None]
    asked: Mapped[bool | None]


class SheetFetch(Base):
    """That somebody fetched a sheet, or had a copy of it checked; nobody where not signed in."""

    __tablename__ = "sheet_fetch"
    __table_args__ = (
        CheckConstraint("how in ('fetched', 'checked')", name="how_known"),
        Index(None, "sheet_id"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    sheet_id: Mapped[UUID] = mapped_column(ForeignKey("sheet.id"))
    person_id: Mapped[UUID | None] = mapped_column(ForeignKey("person.id"))
    how: Mapped[str]
    at: Mapped[datetime]


class OwnCertificate(Base):
    """A certificate that a person brought, with its wrapped key until it is removed."""

    __tablename__ = "own_certificate"
    __table_args__ = (Index(None, "person_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    name: Mapped[str]
    issuer: Mapped[str]
    serial: Mapped[str]
    certificate_pem: Mapped[str] = mapped_column(Text)
    chain_pem: Mapped[str] = mapped_column(Text)
    wrapped_key: Mapped[str | None] = mapped_column(Text)
    expires_at: Mapped[datetime]
    added_at: Mapped[datetime]
    removed_at: Mapped[datetime | None]


class SigningKey(Base):
    """A person's certificate and wrapped key from the instance's own authority."""

    __tablename__ = "signing_key"
    __table_args__ = (UniqueConstraint("serial"), Index(None, "person_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    role: Mapped[str]
    serial: Mapped[str]
    certificate_pem: Mapped[str] = mapped_column(Text)
    wrapped_key: Mapped[str] = mapped_column(Text)
    issued_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]
