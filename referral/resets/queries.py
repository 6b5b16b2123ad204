"""Reads on resets, inside one case."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from referral.errors import NotFound
from referral.plans.models import FindingRow, JudgementRow, PlanRow
from referral.plans.queries import findings_of
from referral.resets.models import Countersign, Deviation, Recheck, Reset, ResetLimb
from referral.storage.together import CaseId, Rows


@dataclass(frozen=True, slots=True)
class ResetView:
    """A reset as recorded: limbs, deviations, the judging of what was done, the vet's answers."""

    reset: Reset
    limbs: Mapping[str, Mapping[str, Any]]
    deviations: tuple[Deviation, ...]
    judgement: JudgementRow
    findings: tuple[FindingRow, ...]
    countersigns: tuple[Countersign, ...]


def resets_of(session: Session, case_id: UUID) -> Sequence[Reset]:
    """Return every recorded reset, newest first; a correction stands before what it corrects."""
    return session.scalars(
        select(Reset)
        .where(Reset.case_id == case_id)
        .order_by(Reset.n.desc(), Reset.recorded_at.desc())
    ).all()


def limbs_of_resets(session: Session, reset_ids: Sequence[UUID]) -> Mapping[UUID, frozenset[str]]:
    """Return which limbs each of these recorded resets was of."""
    found: dict[UUID, set[str]] = {each: set() for each in reset_ids}
    for reset_id, limb in session.execute(
        select(ResetLimb.reset_id, ResetLimb.limb).where(ResetLimb.reset_id.in_(reset_ids))
    ):
        found[reset_id].add(limb)
    return {each: frozenset(limbs) for each, limbs in found.items()}


def latest_reset(session: Session, case_id: UUID, n: int) -> Reset:
    """Return the record in force of reset n: the last correction, or the first writing.

    Raises
    ------
    NotFound
        If this case has no such reset.
    """
    found = [each for each in resets_of(session, case_id) if each.n == n]
    if not found:
        raise NotFound("There is no such reset on this case.")
    return found[0]


def reset_of(session: Session, case_id: UUID, n: int) -> ResetView:
    """Return the record in force of reset n with everything that belongs to it.

    Raises
    ------
    NotFound
        If this case has no such reset.
    """
    reset = latest_reset(session, case_id, n)
    judgement = session.scalars(
        select(JudgementRow)
        .where(JudgementRow.reset_id == reset.id)
        .order_by(JudgementRow.judged_at.desc())
        .limit(1)
    ).one()
    limbs = session.scalars(
        select(ResetLimb).where(ResetLimb.reset_id == reset.id).order_by(ResetLimb.limb)
    )
    deviations = session.scalars(
        select(Deviation)
        .where(Deviation.reset_id == reset.id)
        .order_by(Deviation.limb, Deviation.field)
    )
    countersigns = session.scalars(
        select(Countersign).where(Countersign.reset_id == reset.id).order_by(Countersign.signed_at)
    )
    return ResetView(
        reset=reset,
        limbs={row.limb: row.content for row in limbs},
        deviations=tuple(deviations),
        judgement=judgement,
        findings=tuple(findings_of(session, judgement.id)),
        countersigns=tuple(countersigns),
    )


def current_recheck(session: Session, case_id: UUID) -> Recheck | None:
    """Return the recheck in force: the last one that was set."""
    return session.scalars(select_recheck(case_id)).one_or_none()


def select_recheck(case_id: CaseId) -> Select[Recheck]:
    """Return the query for the recheck in force."""
    return (
        select(Recheck)
        .where(Recheck.case_id == case_id)
        .order_by(Recheck.set_at.desc(), Recheck.id.desc())
        .limit(1)
    )


def select_resets(case_id: CaseId) -> Rows:
    """Return the query for the records of every reset, newest first, with how each stands.

    A correction stands before what it corrects.
    """
    decision = (
        select(Countersign.decision)
        .where(Countersign.reset_id == Reset.id)
        .order_by(Countersign.signed_at.desc(), Countersign.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    return (
        select(
            Reset.n,
            PlanRow.n.label("plan_n"),
            Reset.fitted_on,
            Reset.due_on,
            JudgementRow.id.label("judgement_id"),
            JudgementRow.summary,
            decision.label("decision"),
        )
        .join(PlanRow, PlanRow.id == Reset.plan_id)
        .join(JudgementRow, JudgementRow.reset_id == Reset.id)
        .where(Reset.case_id == case_id)
        .order_by(Reset.n.desc(), Reset.recorded_at.desc())
    )
