"""Reads on plans, their judgements, reviews and consents, inside one case."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.queries import current_limits, current_problems, flags_of, latest_referral
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit
from referral.core.workflow import Stage
from referral.errors import NotFound
from referral.films.queries import limb_basis
from referral.horses.models import Horse
from referral.plans.agreement import has_moved, inputs_record
from referral.plans.foot_facts import farrier_words_of, foot_facts_of, others_of
from referral.plans.models import (
    Consent,
    FindingRow,
    JudgementRow,
    PlanLimb,
    PlanRow,
    Review,
    Waiver,
)
from referral.plans.own_growth import own_rates_of
from referral.plans.subject import Subject
from referral.rulebook.loader import Rulebook
from referral.rulebook.overrides import effective_book
from referral.rules.queries import book_on_case, overrides_on_case
from referral.storage.together import CaseId, Rows

RULES_COUNT = frozenset({Stage.REVIEW, Stage.AMENDED, Stage.SIGNING, Stage.CONSENT})
"""Where a changed rule asks for the plan to be judged again: until the owner has consented."""


@dataclass(frozen=True, slots=True)
class PlanView:
    """A plan with its limbs, its latest judgement and findings, and the vet's answer."""

    plan: PlanRow
    limbs: Mapping[str, Mapping[str, Any]]
    judgement: JudgementRow
    findings: tuple[FindingRow, ...]
    reviews: tuple[Review, ...]
    waivers: tuple[Waiver, ...]
    consents: tuple[Consent, ...]

    @property
    def agreed(self) -> Review | None:
        """The agreement in force, if the latest review is one."""
        last = self.reviews[-1] if self.reviews else None
        return last if last is not None and last.decision == "agreed" else None

    @property
    def is_consented(self) -> bool:
        """Whether the owner's last answer, given since the vet agreed, is consent."""
        last = self.consents[-1] if self.consents else None
        if last is None or self.agreed is None:
            return False
        return last.decision == "given" and last.recorded_at >= self.agreed.reviewed_at


def plan_of(session: Session, case_id: UUID, n: int) -> PlanView:
    """Return plan n of this case.

    Raises
    ------
    NotFound
        If this case has no such plan.
    """
    plan = session.scalars(
        select(PlanRow).where(PlanRow.case_id == case_id, PlanRow.n == n)
    ).one_or_none()
    if plan is None:
        raise NotFound("There is no such plan on this case.")
    judgement = session.scalars(
        select(JudgementRow)
        .where(JudgementRow.plan_id == plan.id, JudgementRow.reset_id.is_(None))
        .order_by(JudgementRow.judged_at.desc(), JudgementRow.id.desc())
        .limit(1)
    ).one()
    reviews = session.scalars(
        select(Review).where(Review.plan_id == plan.id).order_by(Review.reviewed_at)
    ).all()
    waivers = session.scalars(
        select(Waiver).where(Waiver.review_id.in_([each.id for each in reviews]))
    ).all()
    consents = session.scalars(
        select(Consent).where(Consent.plan_id == plan.id).order_by(Consent.recorded_at)
    ).all()
    return PlanView(
        plan=plan,
        limbs=limbs_of(session, plan.id),
        judgement=judgement,
        findings=tuple(findings_of(session, judgement.id)),
        reviews=tuple(reviews),
        waivers=tuple(waivers),
        consents=tuple(consents),
    )


def limbs_of(session: Session, plan_id: UUID) -> Mapping[str, Mapping[str, Any]]:
    """Return a plan's content by limb."""
    rows = session.scalars(
        select(PlanLimb).where(PlanLimb.plan_id == plan_id).order_by(PlanLimb.limb)
    )
    return {row.limb: row.content for row in rows}


def findings_of(session: Session, judgement_id: UUID) -> Sequence[FindingRow]:
    """Return the findings of a judgement as they were judged, in order."""
    return session.scalars(
        select(FindingRow)
        .where(FindingRow.judgement_id == judgement_id)
        .order_by(FindingRow.limb, FindingRow.position)
    ).all()


def plans_of(session: Session, case_id: UUID) -> Sequence[PlanRow]:
    """Return the case's plans, newest first."""
    return session.scalars(
        select(PlanRow).where(PlanRow.case_id == case_id).order_by(PlanRow.n.desc())
    ).all()


def case_limits(session: Session, case_id: UUID) -> tuple[CaseLimit, ...]:
    """Return the vet's limits in force as the core judges them."""
    return tuple(
        CaseLimit(
            measure=row.measure,
            stage=row.stage,
            strength=row.strength,
            at_least=row.at_least,
            at_most=row.at_most,
            unit=row.unit,
            limb=row.limb,
            reason=row.reason,
            review_on=row.review_on,
        )
        for row in current_limits(session, case_id)
    )


def planned_limbs(session: Session, case_id: UUID) -> tuple[str, ...]:
    """Return the limbs that the referral in force asks to be planned."""
    referral = latest_referral(session, case_id)
    return tuple(referral.limbs) if referral else ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """The part of a judging that a form brings: plans, what was fitted, the recheck."""

    plans: Mapping[str, Mapping[str, Any]]
    fitted: Mapping[str, Mapping[str, Any]] | None = None
    recheck_owner: str | None = None
    recheck_on: date | None = None
    plan_signed_on: date | None = None
    reasons: Mapping[str, str] | None = None


def subject_of(session: Session, access: CaseAccess, wanted: Wanted) -> Subject:
    """Gather everything a judging rests on from the rows as they are now."""
    horse = session.scalars(select(Horse).where(Horse.id == access.horse_id)).one()
    live = [
        flag.sign
        for flag, _answer in flags_of(session, access.case_id)
        if str(flag.id) in access.state.live_flags
    ]
    facts = Facts(
        red_flags=tuple(live),
        recheck_owner=wanted.recheck_owner,
        recheck_on=wanted.recheck_on,
        plan_signed_on=wanted.plan_signed_on,
        body_mass_kg=horse.weight_kg,
        chip=horse.chip,
        ueln=horse.ueln,
        jurisdiction=access.jurisdiction,
        farrier_words=farrier_words_of(session, access.case_id),
    )
    bases = {limb: limb_basis(session, access.case_id, limb) for limb in wanted.plans}
    others = others_of(session, access.case_id, wanted.plans)
    return Subject(
        animal=horse.animal,
        conditions=_conditions(session, access.case_id, (*wanted.plans, *others)),
        bases=bases,
        plans=wanted.plans,
        limits=case_limits(session, access.case_id),
        facts=facts,
        fitted=wanted.fitted,
        reasons=wanted.reasons or {},
        own={limb: own_rates_of(session, access.case_id, limb) for limb in wanted.plans},
        feet={limb: foot_facts_of(session, access.case_id, basis) for limb, basis in bases.items()},
        others=others,
        overrides=overrides_on_case(session, access.case_id),
    )


def _conditions(
    session: Session, case_id: UUID, limbs: Iterable[str]
) -> Mapping[str, frozenset[str]]:
    problems = current_problems(session, case_id)
    return {
        limb: frozenset(each.condition for each in problems if each.limb == limb) for limb in limbs
    }


def select_plans(case_id: CaseId) -> Rows:
    """Return the query for the case's plans, newest first, with how each stands."""
    newest = (
        select(JudgementRow.id)
        .where(JudgementRow.plan_id == PlanRow.id, JudgementRow.reset_id.is_(None))
        .order_by(JudgementRow.judged_at.desc(), JudgementRow.id.desc())
        .limit(1)
        .correlate(PlanRow)
    )
    decided = (
        select(Review.decision)
        .where(Review.plan_id == PlanRow.id)
        .order_by(Review.reviewed_at.desc(), Review.id.desc())
        .limit(1)
    )
    return (
        select(
            PlanRow.n,
            PlanRow.author_id,
            PlanRow.author_role,
            PlanRow.submitted_at,
            JudgementRow.id.label("judgement_id"),
            JudgementRow.summary,
            JudgementRow.rulebook_sha256,
            decided.scalar_subquery().label("decision"),
        )
        .join(JudgementRow, JudgementRow.id == newest.scalar_subquery())
        .where(PlanRow.case_id == case_id)
        .order_by(PlanRow.n.desc())
    )


def rules_have_moved(
    session: Session, access: CaseAccess, judged_by: str | None, rulebook: Rulebook, on: date
) -> bool:
    """Say whether the plan that waits for an answer was judged by other rules than judge now.

    ``judged_by`` is the hash of the rules that judged it last.
    """
    if access.state.stage not in RULES_COUNT:
        return False
    return judged_by != book_on_case(session, access.case_id, rulebook, on).content_hash


def judged_on(view: PlanView) -> Mapping[str, Any]:
    """Return what was kept of each limb's readings when a plan was judged."""
    readings: Mapping[str, Any] = json.loads(view.judgement.basis)["inputs"]["readings"]
    return readings


def is_stale(
    session: Session, access: CaseAccess, view: PlanView, rulebook: Rulebook, on: date
) -> bool:
    """Say whether what the plan was judged on is now another, as far as that still asks."""
    subject = subject_of(session, access, Wanted(plans=view.limbs))
    book = effective_book(rulebook, subject.overrides, on)
    return has_moved(
        json.loads(view.judgement.basis)["inputs"],
        inputs_record(subject, book.content_hash),
        is_agreed=view.agreed is not None,
        is_consented=view.is_consented and access.state.stage is not Stage.CONSENT,
    )
