"""The verbs of plans: submit, change, judge again, send back, agree."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.service import Words, write_words
from referral.cases.timeline import NewEntry, append, locked
from referral.core.workflow import Move, Stage
from referral.errors import Invalid, OutOfDate, WrongState
from referral.plans.agreement import must_be_answered
from referral.plans.judging import Judged, judge_subject
from referral.plans.models import (
    FindingRow,
    JudgementRow,
    PlanLimb,
    PlanRow,
    Review,
    Waiver,
)
from referral.plans.queries import PlanView, Wanted, is_stale, plan_of, planned_limbs, subject_of
from referral.plans.record import predictions_record
from referral.rulebook.loader import Rulebook
from referral.storage.canonical import rounded
from referral.storage.ids import new_id


@dataclass(frozen=True, slots=True)
class SubmitPlan:
    """A plan for every limb of the referral, in the worksheet's keys."""

    limbs: Mapping[str, Mapping[str, Any]]
    words: str | None
    recheck_owner: str | None
    recheck_on: date | None
    happened_on: date
    based_on: int | None


def submit_plan(
    session: Session, access: CaseAccess, command: SubmitPlan, rulebook: Rulebook, now: datetime
) -> PlanView:
    """Store a plan with its findings as judged; the vet's review begins.

    Raises
    ------
    Invalid
        If a limb is missing, a number is impossible, or a broken limit has no reason.
    """
    access = locked(session, access, now)
    judged = judge_command(session, access, command, rulebook, now.date())
    broken = [
        finding
        for _limb, finding in judged.findings()
        if finding.verdict == "OUTSIDE" and finding.severity in ("breach", "red_flag")
    ]
    if broken and not command.words:
        sentence = "This plan breaks a limit; write why you propose it all the same."
        raise Invalid(sentence, {"words": [sentence]})
    return _keep(session, access, command, judged, Move.SUBMIT_PLAN, now)


def amend_plan(
    session: Session, access: CaseAccess, command: SubmitPlan, rulebook: Rulebook, now: datetime
) -> PlanView:
    """Store the vet's changes as a new plan, judged anew; the farrier accepts or answers.

    Raises
    ------
    Invalid
        If a limb is missing or a number is impossible.
    """
    access = locked(session, access, now)
    judged = judge_command(session, access, command, rulebook, now.date())
    return _keep(session, access, command, judged, Move.AMEND_PLAN, now)


def judge_command(
    session: Session, access: CaseAccess, command: SubmitPlan, rulebook: Rulebook, on: date
) -> Judged:
    """Predict and judge a plan with nothing stored; the preview and the submission are this.

    Raises
    ------
    Invalid
        If a limb is missing or a number is impossible.
    """
    _check_limbs(session, access, command)
    wanted = Wanted(
        plans={limb: rounded(dict(content)) for limb, content in command.limbs.items()},
        recheck_owner=command.recheck_owner,
        recheck_on=command.recheck_on,
    )
    return judge_subject(subject_of(session, access, wanted), rulebook, on)


def _check_limbs(session: Session, access: CaseAccess, command: SubmitPlan) -> None:
    wanted = set(planned_limbs(session, access.case_id))
    missing = sorted(wanted - set(command.limbs))
    if missing:
        names = ", ".join(missing)
        raise Invalid(f"Write a plan for {names} too.", {"limbs": [f"No plan for {names}."]})
    if not command.limbs:
        raise Invalid("There is no limb to plan for.", {"limbs": ["No limb was referred."]})


def _keep(
    session: Session,
    access: CaseAccess,
    command: SubmitPlan,
    judged: Judged,
    move: Move,
    now: datetime,
) -> PlanView:
    number = access.state.plan_n + 1
    plan = _keep_plan(session, access, command, move, now)
    judgement = keep_judgement(session, plan.id, None, judged, now)
    facts = {
        "n": number,
        "limbs": sorted(command.limbs),
        "plan": str(plan.id),
        "judgement": str(judgement.id),
        "basis_sha256": judged.basis_sha256,
        "worst": judged.worst,
    }
    texts = {"words": command.words}
    new = NewEntry(move, command.happened_on, facts, texts, plan.id, command.based_on)
    append(session, access, new, now)
    return plan_of(session, access.case_id, number)


def _keep_plan(
    session: Session, access: CaseAccess, command: SubmitPlan, move: Move, now: datetime
) -> PlanRow:
    before = access.state.plan_n
    plan = PlanRow(
        id=new_id(now),
        case_id=access.case_id,
        n=before + 1,
        changes_n=before if move is Move.AMEND_PLAN else None,
        author_id=access.actor_id,
        author_role=access.role_for(move).value,
        words=command.words,
        recheck_owner=command.recheck_owner,
        recheck_on=command.recheck_on,
        submitted_at=now,
    )
    session.add(plan)
    session.flush()
    session.add_all(
        PlanLimb(id=new_id(now), plan_id=plan.id, limb=limb, content=rounded(dict(content)))
        for limb, content in command.limbs.items()
    )
    return plan


def keep_judgement(
    session: Session, plan_id: UUID, reset_id: UUID | None, judged: Judged, now: datetime
) -> JudgementRow:
    """Store a judgement and its findings exactly as they were judged."""
    row = JudgementRow(
        id=new_id(now),
        plan_id=plan_id,
        reset_id=reset_id,
        rulebook_sha256=judged.rulebook_sha256,
        basis=judged.basis,
        basis_sha256=judged.basis_sha256,
        predictions=rounded(predictions_record(judged)),
        worst=judged.worst,
        summary=judged.summary,
        judged_at=now,
    )
    session.add(row)
    session.flush()
    session.add_all(
        FindingRow(
            id=new_id(now),
            judgement_id=row.id,
            limb=limb,
            position=position,
            **rounded(asdict(finding)),
        )
        for position, (limb, finding) in enumerate(judged.findings())
    )
    session.flush()
    return row


def judge_again(
    session: Session, access: CaseAccess, n: int, rulebook: Rulebook, on: date, now: datetime
) -> PlanView:
    """Judge a plan anew on limits, readings and rules as they are now.

    Raises
    ------
    WrongState
        If it is agreed to and nothing has changed since.
    """
    view = plan_of(session, access.case_id, n)
    is_agreed = access.state.stage in (Stage.SIGNING, Stage.CONSENT)
    if is_agreed and not is_stale(session, access, view, rulebook, now.date()):
        raise WrongState("Nothing has changed since the vet agreed to this plan.")
    wanted = Wanted(
        plans=view.limbs,
        recheck_owner=view.plan.recheck_owner,
        recheck_on=view.plan.recheck_on,
    )
    judged = judge_subject(subject_of(session, access, wanted), rulebook, now.date())
    keep_judgement(session, view.plan.id, None, judged, now)
    facts = {"plan_n": n, "basis_sha256": judged.basis_sha256, "worst": judged.worst}
    append(session, access, NewEntry(Move.JUDGE_AGAIN, on, facts, {}, view.plan.id), now)
    return plan_of(session, access.case_id, n)


def send_back(session: Session, access: CaseAccess, n: int, command: Words, now: datetime) -> None:
    """Send a plan back to the farrier with what should change.

    Raises
    ------
    Invalid
        If nothing is said.
    """
    if not command.words:
        raise Invalid("Say what should change.", {"words": ["Say what should change."]})
    view = current_plan(session, access, n)
    session.add(
        Review(
            id=new_id(now),
            plan_id=view.plan.id,
            judgement_id=view.judgement.id,
            seen_sha256=view.judgement.basis_sha256,
            decision="sent_back",
            words=command.words,
            reviewer_id=access.actor_id,
            reviewed_at=now,
        )
    )
    session.flush()
    facts = {"plan_n": n}
    write_words(
        session,
        access,
        Move.SEND_BACK,
        Words(command.words, command.happened_on, command.based_on, view.plan.id, facts),
        now,
    )


def accept_amendment(
    session: Session, access: CaseAccess, n: int, command: Words, now: datetime
) -> None:
    """Accept the vet's changes; the vet agrees and signs next.

    Raises
    ------
    OutOfDate
        If a newer plan has taken its place.
    """
    view = current_plan(session, access, n)
    new = Words(command.words, command.happened_on, command.based_on, view.plan.id, {"plan_n": n})
    write_words(session, access, Move.ACCEPT_AMENDMENT, new, now)


def current_plan(session: Session, access: CaseAccess, n: int) -> PlanView:
    """Return plan n if it is the case's latest.

    Raises
    ------
    OutOfDate
        If a newer plan has taken its place.
    NotFound
        If this case has no such plan.
    """
    view = plan_of(session, access.case_id, n)
    if n != access.state.plan_n:
        raise OutOfDate(f"Plan {n} is not the latest; plan {access.state.plan_n} is.")
    return view


@dataclass(frozen=True, slots=True)
class AgreePlan:
    """The vet's agreement to exactly what was seen, with an answer to each finding that asks one.

    ``waivers`` and ``seen`` are keyed by the finding's id.
    """

    n: int
    seen_sha256: str
    waivers: Mapping[UUID, str]
    seen: frozenset[UUID]
    words: str | None
    happened_on: date
    based_on: int | None


def check_agreement(
    session: Session, access: CaseAccess, command: AgreePlan, rulebook: Rulebook, on: date
) -> PlanView:
    """Return the plan if this agreement to it would hold on this day.

    Raises
    ------
    OutOfDate
        If the plan, its limits, readings or rules are not those that were seen.
    Invalid
        If a broken limit has no waiver with a reason, or a close one no tick.
    """
    view = current_plan(session, access, command.n)
    if view.judgement.basis_sha256 != command.seen_sha256:
        raise OutOfDate("The plan was judged again since you opened it; look at it once more.")
    if is_stale(session, access, view, rulebook, on):
        raise OutOfDate("Limits, readings or rules have changed; judge the plan again first.")
    faults: dict[str, list[str]] = {}
    for finding in view.findings:
        wanted = must_be_answered(finding)
        if wanted == "waived" and not command.waivers.get(finding.id):
            faults[f"waiver_{finding.id}"] = ["Give the reason for agreeing all the same."]
        if wanted == "seen" and finding.id not in command.seen:
            faults[f"seen_{finding.id}"] = ["Tick that you have seen this."]
    if faults:
        raise Invalid("Answer every finding that asks for it.", faults)
    return view


def agree_plan(
    session: Session, access: CaseAccess, command: AgreePlan, rulebook: Rulebook, now: datetime
) -> Review:
    """Record the vet's agreement with its waivers.

    Raises
    ------
    OutOfDate
        If what was seen is not what stands.
    Invalid
        If a finding lacks the answer it asks for.
    """
    view = check_agreement(session, access, command, rulebook, now.date())
    review = Review(
        id=new_id(now),
        plan_id=view.plan.id,
        judgement_id=view.judgement.id,
        seen_sha256=command.seen_sha256,
        decision="agreed",
        words=command.words,
        reviewer_id=access.actor_id,
        reviewed_at=now,
    )
    session.add(review)
    session.flush()
    for finding in view.findings:
        kind = must_be_answered(finding)
        if kind:
            reason = command.waivers.get(finding.id) if kind == "waived" else None
            session.add(
                Waiver(
                    id=new_id(now),
                    review_id=review.id,
                    finding_id=finding.id,
                    kind=kind,
                    reason=reason,
                )
            )
    facts = {"plan_n": command.n, "review": str(review.id), "basis_sha256": command.seen_sha256}
    texts = {"words": command.words}
    append(
        session,
        access,
        NewEntry(Move.AGREE_PLAN, command.happened_on, facts, texts, review.id, command.based_on),
        now,
    )
    return review
