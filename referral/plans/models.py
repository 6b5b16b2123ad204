"""Plans, what they were judged on, findings, review, waivers, consent."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from referral.storage.db import Base


class PlanRow(Base):
    """A plan as submitted; every change is a new plan with the next number."""

    __tablename__ = "plan"
    __table_args__ = (UniqueConstraint("case_id", "n"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    n: Mapped[int]
    changes_n: Mapped[int | None]
    author_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    author_role: Mapped[str]
    words: Mapped[str | None]
    recheck_owner: Mapped[str | None]
    recheck_on: Mapped[date | None]
    submitted_at: Mapped[datetime]


class PlanLimb(Base):
    """The plan for one limb: the numbers as given, and what they predict."""

    __tablename__ = "plan_limb"
    __table_args__ = (UniqueConstraint("plan_id", "limb"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    plan_id: Mapped[UUID] = mapped_column(ForeignKey("plan.id"))
    limb: Mapped[str]
    content: Mapped[dict[str, Any]]


class JudgementRow(Base):
    """A judging of a plan, or of what was fitted: exactly what it rested on, and its hash."""

    __tablename__ = "judgement"
    __table_args__ = (Index(None, "plan_id"), Index(None, "reset_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    plan_id: Mapped[UUID] = mapped_column(ForeignKey("plan.id"))
    reset_id: Mapped[UUID | None] = mapped_column(ForeignKey("reset.id"))
    rulebook_sha256: Mapped[str]
    basis: Mapped[str] = mapped_column(Text)
    basis_sha256: Mapped[str]
    predictions: Mapped[dict[str, Any]]
    worst: Mapped[str]
    summary: Mapped[str]
    judged_at: Mapped[datetime]


class FindingRow(Base):
    """One finding, stored as it was judged."""

    __tablename__ = "finding"
    __table_args__ = (UniqueConstraint("judgement_id", "limb", "position"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    judgement_id: Mapped[UUID] = mapped_column(ForeignKey("judgement.id"))
    limb: Mapped[str]
    position: Mapped[int]
    rule: Mapped[str]
    title: Mapped[str]
    stage: Mapped[str]
    measure: Mapped[str | None]
    verdict: Mapped[str]
    severity: Mapped[str]
    value: Mapped[float | None]
    u: Mapped[float | None]
    limit: Mapped[float | None]
    unit: Mapped[str | None]
    margin: Mapped[float | None]
    p_outside: Mapped[float | None]
    limit_from: Mapped[str]
    evidence: Mapped[str | None]
    source: Mapped[str | None]
    reason: Mapped[str]
    says: Mapped[str] = mapped_column(Text)
    folded_under: Mapped[str | None]
    limit_since: Mapped[str | None]
    looser_than_shipped: Mapped[bool]


class Review(Base):
    """The vet's answer to a plan, bound to the hash of what was seen."""

    __tablename__ = "review"
    __table_args__ = (Index(None, "plan_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    plan_id: Mapped[UUID] = mapped_column(ForeignKey("plan.id"))
    judgement_id: Mapped[UUID] = mapped_column(ForeignKey("judgement.id"))
    seen_sha256: Mapped[str]
    decision: Mapped[str]
    words: Mapped[str | None]
    reviewer_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    reviewed_at: Mapped[datetime]


class Waiver(Base):
    """A finding that was agreed to all the same, with the vet's reason.

    ``kind`` is ``waived`` (broken or unanswerable) or ``seen`` (too close to call).
    """

    __tablename__ = "waiver"
    __table_args__ = (UniqueConstraint("review_id", "finding_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    review_id: Mapped[UUID] = mapped_column(ForeignKey("review.id"))
    finding_id: Mapped[UUID] = mapped_column(ForeignKey("finding.id"))
    kind: Mapped[str]
    reason: Mapped[str | None]


class CautionAcknowledgement(Base):
    """A caution that somebody acknowledged, with the reason; the finding says what it was."""

    __tablename__ = "caution_acknowledgement"
    __table_args__ = (UniqueConstraint("finding_id", "role"), Index(None, "case_id"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    case_id: Mapped[UUID] = mapped_column(ForeignKey("case.id"))
    finding_id: Mapped[UUID] = mapped_column(ForeignKey("finding.id"))
    person_id: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    role: Mapped[str]
    reason: Mapped[str]
    acknowledged_at: Mapped[datetime]


class Consent(Base):
    """The owner's consent or refusal, however it was given."""

    __tablename__ = "consent"
    __table_args__ = (Index(None, "plan_id"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    plan_id: Mapped[UUID] = mapped_column(ForeignKey("plan.id"))
    decision: Mapped[str]
    given_by: Mapped[str]
    authority: Mapped[str]
    how: Mapped[str]
    given_on: Mapped[date]
    cost: Mapped[str | None]
    resets_expected: Mapped[str | None]
    risks: Mapped[str | None]
    outlook: Mapped[str | None]
    recorded_by: Mapped[UUID] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]
