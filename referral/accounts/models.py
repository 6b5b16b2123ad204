"""People, the organisations they work for, and their sign-ins."""

from datetime import datetime
from enum import StrEnum
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from referral.storage.db import Base


class OrganisationKind(StrEnum):
    """What an organisation is."""

    PRACTICE = "practice"
    FORGE = "forge"


class MembershipRole(StrEnum):
    """What a person may be."""

    VET = "vet"
    FARRIER = "farrier"
    APPRENTICE = "apprentice"
    OWNER = "owner"
    COORDINATOR = "coordinator"


class Organisation(Base):
    """A vet practice or a farriery business."""

    __tablename__ = "organisation"
    __table_args__ = (CheckConstraint("kind in ('practice', 'forge')", name="kind_known"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str]
    kind: Mapped[str]
    out_of_hours_phone: Mapped[str | None]
    created_at: Mapped[datetime]


class Person(Base):
    """Somebody who may sign in; a revoked person keeps what they wrote."""

    __tablename__ = "person"
    __table_args__ = (
        UniqueConstraint("email"),
        CheckConstraint("email = lower(email)", name="email_lower_case"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str]
    email: Mapped[str]
    password_hash: Mapped[str | None]
    registration_number: Mapped[str | None]
    phone: Mapped[str | None]
    revoked_at: Mapped[datetime | None]
    created_at: Mapped[datetime]

    memberships: Mapped[list["Membership"]] = relationship(back_populates="person", lazy="raise")


class Membership(Base):
    """What a person is, for whom, since and until when; owners belong to no organisation."""

    __tablename__ = "membership"
    __table_args__ = (
        CheckConstraint(
            "role in ('vet', 'farrier', 'apprentice', 'owner', 'coordinator')", name="role_known"
        ),
        CheckConstraint(
            "(role = 'owner') = (organisation_id is null)", name="owner_without_organisation"
        ),
        Index(None, "person_id"),
        Index(None, "organisation_id"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    organisation_id: Mapped[UUID | None] = mapped_column(ForeignKey("organisation.id"))
    role: Mapped[str]
    since: Mapped[datetime]
    until: Mapped[datetime | None]

    person: Mapped[Person] = relationship(back_populates="memberships", lazy="raise")
    organisation: Mapped[Organisation | None] = relationship(lazy="raise")


class SignIn(Base):
    """One try to sign in; the address and the email stand only as hashes."""

    __tablename__ = "sign_in"
    __table_args__ = (Index(None, "email_sha256", "at"), Index(None, "address_sha256", "at"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    email_sha256: Mapped[str]
    address_sha256: Mapped[str]
    at: Mapped[datetime]
    ok: Mapped[bool]


class OpenSession(Base):
    """A signed-in browser; the cookie holds a token of which only the hash is kept."""

    __tablename__ = "session"
    __table_args__ = (UniqueConstraint("token_sha256"), Index(None, "person_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    token_sha256: Mapped[str]
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    device: Mapped[str]
    created_at: Mapped[datetime]
    last_seen_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class SecondFactor(Base):
    """A secret that a person's telephone makes codes from: confirmed by the first, then asked for.

    ``last_step`` is the step of time of the last code taken; none counts twice.
    """

    __tablename__ = "second_factor"
    __table_args__ = (Index(None, "person_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    wrapped_secret: Mapped[str | None]
    begun_at: Mapped[datetime]
    confirmed_at: Mapped[datetime | None]
    removed_at: Mapped[datetime | None]
    last_step: Mapped[int | None]
    wrong_codes: Mapped[int]
    wrong_at: Mapped[datetime | None]


class IdempotencyKey(Base):
    """A form's own identity, so that sending it twice does it once."""

    __tablename__ = "idempotency_key"
    __table_args__ = (UniqueConstraint("person_id", "key"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    key: Mapped[str]
    body_sha256: Mapped[str]
    location: Mapped[str]
    made_at: Mapped[datetime]
