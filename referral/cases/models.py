"""The case, its members, its timeline, and what is said in it. Rows are only ever added."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class Case(Base):
    """One foot case of one horse."""

    __tablename__ = "case"
    __table_args__ = (UniqueConstraint("number"), Index(None, "horse_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    number: Mapped[int]
    horse_id: Mapped[UUID] = mapped_column(ForeignKey("horse.id"))
    jurisdiction: Mapped[str]
    zone: Mapped[str]
    opened_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    opened_at: Mapped[datetime]


class Counter(Base):
    """The last number given out under a name; locked while the next one is taken."""

    __tablename__ = "counter"

    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[int]


class CaseMember(Base):
    """Who sees a case, as what, for which organisation, since and until when."""

    __tablename__ = "case_member"
    __table_args__ = (Index(None, "person_id", "case_id"), Index(None, "case_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    organisation_id: Mapped[UUID | None] = mapped_column(ForeignKey("organisation.id"))
    role: Mapped[str]
    since: Mapped[datetime]
    until: Mapped[datetime | None]


class Invitation(Base):
    """Somebody asked onto a case by an address that was typed in full.

    Nothing here says whether anybody is known by it; whoever is decides alone, within the days
    that an invitation is open.
    """

    __tablename__ = "invitation"
    __table_args__ = (
        CheckConstraint("email = lower(email)", name="email_lower_case"),
        Index(None, "case_id"),
        Index(None, "email"),
        Index(None, "asked_by", "asked_at"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    email: Mapped[str]
    role: Mapped[str]
    asked_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    asked_at: Mapped[datetime]


class InvitationEnd(Base):
    """How an invitation ended: accepted, declined, or taken back by those on the case.

    ``ended_by`` is nobody where it was declined by the address in its letter, without signing in.
    """

    __tablename__ = "invitation_end"
    __table_args__ = (
        UniqueConstraint("invitation_id"),
        CheckConstraint("how in ('accepted', 'declined', 'taken_back')", name="how_known"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    invitation_id: Mapped[UUID] = mapped_column(ForeignKey("invitation.id"))
    how: Mapped[str]
    ended_by: Mapped[UUID | None] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime]


class Entry(Base):
    """One line of the timeline, chained to the one before by its hash."""

    __tablename__ = "entry"
    __table_args__ = (UniqueConstraint("case_id", "seq"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    seq: Mapped[int]
    kind: Mapped[str]
    actor_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    actor_role: Mapped[str]
    happened_on: Mapped[date]
    recorded_at: Mapped[datetime]
    reference: Mapped[UUID | None]
    content: Mapped[dict[str, Any]]
    previous_hash: Mapped[str]
    hash: Mapped[str]


class ErasableValue(Base):
    """Free text or a name that stands in the timeline only as a salted hash."""

    __tablename__ = "erasable_value"
    __table_args__ = (UniqueConstraint("entry_id", "field"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    entry_id: Mapped[UUID] = mapped_column(ForeignKey("entry.id"))
    field: Mapped[str]
    salt: Mapped[str | None]
    value: Mapped[str | None]
    erased_at: Mapped[datetime | None]


class Problem(Base):
    """The vet's diagnosis on one limb, with how sure it is."""

    __tablename__ = "problem"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    limb: Mapped[str]
    condition: Mapped[str]
    certainty: Mapped[str]
    words: Mapped[str | None]
    recorded_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]


class Limit(Base):
    """A limit of the vet's on this case; a changed limit is a new row that replaces."""

    __tablename__ = "limit"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    limb: Mapped[str | None]
    measure: Mapped[str]
    stage: Mapped[str]
    at_least: Mapped[float | None]
    at_most: Mapped[float | None]
    unit: Mapped[str]
    strength: Mapped[str]
    reason: Mapped[str | None]
    review_on: Mapped[date | None]
    withdrawn: Mapped[bool]
    replaces_id: Mapped[UUID | None] = mapped_column(ForeignKey("limit.id"))
    set_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    set_at: Mapped[datetime]


class Referral(Base):
    """A referral as sent: which limbs, how urgent, what is wanted."""

    __tablename__ = "referral"
    __table_args__ = (UniqueConstraint("case_id", "n"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    n: Mapped[int]
    limbs: Mapped[list[Any]]
    urgency: Mapped[str]
    goals: Mapped[str]
    open_to_farrier: Mapped[str | None]
    no_limits: Mapped[bool]
    contradictions: Mapped[list[Any] | None]
    contradiction_reason: Mapped[str | None]
    sent_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    sent_at: Mapped[datetime]


class Question(Base):
    """A question between the two sides; an answer is a row that names its question."""

    __tablename__ = "question"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    answers_id: Mapped[UUID | None] = mapped_column(ForeignKey("question.id"))
    words: Mapped[str]
    written_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    written_at: Mapped[datetime]


class RedFlag(Base):
    """Something that must stop planned work until a vet has answered."""

    __tablename__ = "red_flag"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    limb: Mapped[str | None]
    sign: Mapped[str]
    words: Mapped[str | None]
    raised_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    raised_at: Mapped[datetime]


class FlagAnswer(Base):
    """The vet's answer to a red flag: resolved, or known and managed until a day.

    The last one holds: a flag that is managed is answered again, at the latest after its day.
    """

    __tablename__ = "flag_answer"
    __table_args__ = (
        Index(None, "flag_id"),
        CheckConstraint("answer in ('resolved', 'managed')", name="answer_known"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    flag_id: Mapped[UUID] = mapped_column(ForeignKey("red_flag.id"))
    answer: Mapped[str]
    reason: Mapped[str]
    within: Mapped[str | None]
    until: Mapped[date | None]
    answered_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    answered_at: Mapped[datetime]


class Observation(Base):
    """What was seen, by anybody; never a diagnosis."""

    __tablename__ = "observation"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    limb: Mapped[str | None]
    about: Mapped[str]
    words: Mapped[str]
    happened_on: Mapped[date]
    recorded_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]


class Closure(Base):
    """Why and with what outcome a case was closed."""

    __tablename__ = "closure"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    outcome: Mapped[str]
    words: Mapped[str | None]
    closed_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    closed_at: Mapped[datetime]


class LegalHold(Base):
    """Why a case must be kept whole: while it is held, nothing of it is erased."""

    __tablename__ = "legal_hold"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    why: Mapped[str]
    placed_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    placed_at: Mapped[datetime]


class LegalHoldEnd(Base):
    """That a legal hold was lifted, by whom and why."""

    __tablename__ = "legal_hold_end"
    __table_args__ = (UniqueConstraint("hold_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    hold_id: Mapped[UUID] = mapped_column(ForeignKey("legal_hold.id"))
    why: Mapped[str]
    lifted_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    lifted_at: Mapped[datetime]


class Erasure(Base):
    """What stays of something erased: what it was, the hashes of its files, who, when and why.

    ``subject_id`` is the entry whose words, or the film, photo or sheet, that was erased.
    """

    __tablename__ = "erasure"
    __table_args__ = (
        UniqueConstraint("subject_id"),
        CheckConstraint("what in ('words', 'film', 'photo', 'sheet')", name="what_known"),
        Index(None, "case_id"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    what: Mapped[str]
    subject_id: Mapped[UUID]
    said: Mapped[str]
    files: Mapped[list[Any]]
    why: Mapped[str]
    erased_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    erased_at: Mapped[datetime]
