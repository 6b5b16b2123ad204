"""The words of one entry, wherever they are kept beside the timeline.

That is in the rows of the move itself, and in what a plan was judged on.

What is bound by a hash keeps its hash: the text of a judging then no longer gives it.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, select, update
from sqlalchemy.orm import InstrumentedAttribute, Session

from referral.assessments.models import Assessment
from referral.cases.erasures import ERASED
from referral.cases.models import (
    Closure,
    Entry,
    FlagAnswer,
    Limit,
    Observation,
    Problem,
    Question,
    RedFlag,
    Referral,
)
from referral.core.workflow import Move
from referral.plans.models import (
    CautionAcknowledgement,
    Consent,
    FindingRow,
    JudgementRow,
    PlanLimb,
    PlanRow,
    Review,
    Waiver,
)
from referral.resets.models import Countersign, Deviation, Recheck, Reset, ResetLimb
from referral.storage.canonical import canonical_json

Where = Callable[[Entry], ColumnElement[bool]]
Column = InstrumentedAttribute[Any]


@dataclass(frozen=True, slots=True)
class Copy:
    """Words that a move keeps in a row of its own: in which columns, and of which rows."""

    columns: tuple[Column, ...]
    of: Where


def _own(*columns: Column) -> Copy:
    """Return the words in the row that an entry refers to."""
    table = columns[0].class_
    return Copy(columns, lambda entry: table.id == entry.reference)


def _countersigned(entry: Entry) -> ColumnElement[bool]:
    return and_(Countersign.reset_id == entry.reference, Countersign.signed_at == entry.recorded_at)


_CONSENT = _own(
    Consent.given_by, Consent.cost, Consent.resets_expected, Consent.risks, Consent.outlook
)
COPIES: Mapping[Move, tuple[Copy, ...]] = {
    Move.SET_PROBLEM: (_own(Problem.words),),
    Move.SET_LIMIT: (_own(Limit.reason),),
    Move.SEND_REFERRAL: (
        _own(Referral.goals, Referral.open_to_farrier, Referral.contradiction_reason),
    ),
    Move.ASK_QUESTION: (_own(Question.words),),
    Move.ANSWER_QUESTION: (_own(Question.words),),
    Move.ASK_EXAMINATION: (_own(Observation.words),),
    Move.ADD_OBSERVATION: (_own(Observation.words), _own(Assessment.words)),
    Move.RAISE_FLAG: (_own(RedFlag.words),),
    Move.ANSWER_FLAG: (_own(FlagAnswer.reason, FlagAnswer.within),),
    Move.CLOSE: (_own(Closure.words),),
    Move.SUBMIT_PLAN: (_own(PlanRow.words),),
    Move.AMEND_PLAN: (_own(PlanRow.words),),
    Move.AGREE_PLAN: (
        _own(Review.words),
        Copy((Waiver.reason,), lambda entry: Waiver.review_id == entry.reference),
    ),
    Move.SEND_BACK: (
        Copy(
            (Review.words,),
            lambda entry: and_(
                Review.plan_id == entry.reference, Review.reviewed_at == entry.recorded_at
            ),
        ),
    ),
    Move.GIVE_CONSENT: (_CONSENT,),
    Move.DECLINE_CONSENT: (_CONSENT,),
    Move.RECORD_RESET: (
        _own(Reset.found, Reset.comfort, Reset.advice),
        Copy((Deviation.reason,), lambda entry: Deviation.reset_id == entry.reference),
    ),
    Move.COUNTERSIGN: (
        Copy((Countersign.words,), _countersigned),
        Copy(
            (Recheck.films_wanted,),
            lambda entry: and_(
                Recheck.case_id == entry.case_id, Recheck.set_at == entry.recorded_at
            ),
        ),
    ),
    Move.ASK_CORRECTION: (Copy((Countersign.words,), _countersigned),),
    Move.SET_RECHECK: (_own(Recheck.films_wanted),),
    Move.ACKNOWLEDGE_CAUTION: (
        Copy(
            (CautionAcknowledgement.reason,),
            lambda entry: and_(
                CautionAcknowledgement.case_id == entry.case_id,
                CautionAcknowledgement.acknowledged_at == entry.recorded_at,
            ),
        ),
    ),
}
"""The rows of their own in which moves keep words, beside those of the timeline."""

LIMBS: Mapping[Move, tuple[type[PlanLimb | ResetLimb], Column, str]] = {
    Move.SUBMIT_PLAN: (PlanLimb, PlanLimb.plan_id, "plan"),
    Move.AMEND_PLAN: (PlanLimb, PlanLimb.plan_id, "plan"),
    Move.RECORD_RESET: (ResetLimb, ResetLimb.reset_id, "as_fitted"),
}
"""Moves that keep a reason in words for each limb, and where a judging repeats it."""


def copies_of(session: Session, entry: Entry) -> Iterator[tuple[str, str]]:
    """Yield each place beside the timeline that keeps words of an entry, with the words."""
    move = Move(entry.kind)
    for copy in COPIES.get(move, ()):
        for column in copy.columns:
            words = session.scalars(select(column).where(copy.of(entry), column.is_not(None)))
            yield from ((f"{column.class_.__tablename__}.{column.key}", each) for each in words)
    for limb in _limbs(session, entry):
        if limb.content.get("reason"):
            yield f"{limb.__tablename__}.content", limb.content["reason"]


def _limbs(session: Session, entry: Entry) -> list[PlanLimb | ResetLimb]:
    kept = LIMBS.get(Move(entry.kind))
    if kept is None:
        return []
    table, column, _part = kept
    return list(session.scalars(select(table).where(column == entry.reference)))


def erase_copies(session: Session, entry: Entry) -> None:
    """Erase an entry's words beside the timeline; what a judging says of them is erased first."""
    _erase_judged(session, entry)
    for limb in _limbs(session, entry):
        if limb.content.get("reason"):
            limb.content = {**limb.content, "reason": ERASED}
    for copy in COPIES.get(Move(entry.kind), ()):
        for column in copy.columns:
            rows = update(column.class_).where(copy.of(entry), column.is_not(None))
            session.execute(rows.values({column.key: ERASED}))
    session.flush()


def _erase_judged(session: Session, entry: Entry) -> None:
    """Erase an entry's words in every judging of the case that repeats them."""
    move = Move(entry.kind)
    limit = session.get(Limit, entry.reference) if move is Move.SET_LIMIT else None
    if move not in LIMBS and (limit is None or not limit.reason):
        return
    of_case = select(PlanRow.id).where(PlanRow.case_id == entry.case_id)
    for row in session.scalars(select(JudgementRow).where(JudgementRow.plan_id.in_(of_case))):
        basis = json.loads(row.basis)
        if limit is not None:
            _blank_limit(basis, limit)
            _blank_findings(session, row, str(limit.reason))
        elif entry.reference in (row.plan_id, row.reset_id):
            _blank_limbs(basis["inputs"][LIMBS[move][2]])
        row.basis = canonical_json(basis).decode()


def _blank_limit(basis: dict[str, Any], limit: Limit) -> None:
    """Blank a limit's reason where a judging rested on it, and in what the findings say of it."""
    same = ("measure", "stage", "limb", "reason")
    for each in basis["inputs"]["limits"]:
        if all(each[key] == getattr(limit, key) for key in same):
            each["reason"] = ERASED
    for findings in basis["findings"].values():
        for each in findings:
            each["says"] = _without(each["says"], str(limit.reason))


def _blank_findings(session: Session, row: JudgementRow, reason: str) -> None:
    for finding in session.scalars(select(FindingRow).where(FindingRow.judgement_id == row.id)):
        finding.says = _without(finding.says, reason)


def _without(says: str, reason: str) -> str:
    """Return a finding's sentence without the reason that it repeats of the vet's limit."""
    return says.replace(f"Reason: {reason.rstrip('.')}.", f"Reason: {ERASED}.")


def _blank_limbs(limbs: Mapping[str, dict[str, Any]]) -> None:
    for content in limbs.values():
        if content.get("reason"):
            content["reason"] = ERASED
