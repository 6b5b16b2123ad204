"""What the pages of resets show, frozen and ready to print."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.choices import SIGNS
from referral.cases.models import RedFlag
from referral.cases.note_kinds import LABELS
from referral.cases.notes import hides_pain, notes_of
from referral.cases.queries import case_histories, flags_of, names_on
from referral.cases.ringing import contacts_on, to_ring
from referral.core.rules.deviations import AGREED, KIND_OF
from referral.core.rules.quiet import Acknowledged
from referral.core.watch import Ask, asks_of
from referral.core.workflow import LAWS, Move, Stage
from referral.errors import NotFound
from referral.plans.cautions import QuietCaution, acknowledged_on, quiet_of
from referral.plans.judging import NOT_POSSIBLE
from referral.plans.models import FindingRow, PlanRow
from referral.plans.queries import PlanView, case_limits, plan_of
from referral.plans.rows import (
    PLAN_FIELDS,
    PlanLine,
    ReadingRow,
    plan_lines,
    reading_rows,
)
from referral.plans.schemas import (
    ATTACHMENTS,
    BETWEEN,
    CATEGORIES,
    CLIP_LAYOUTS,
    FROG_PLATES,
    MATERIALS,
    SURFACES,
    typed_from,
)
from referral.plans.summaries import summary_told
from referral.resets.queries import ResetView, reset_of, resets_of
from referral.resets.schemas import INTERVAL, LIMB_FIELDS, plan_field, reason_field
from referral.web.written import day

OPTIONS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "category": CATEGORIES,
    "material": (("", "Not said"), *MATERIALS),
    "attachment": (("", "Not said"), *ATTACHMENTS),
    "surface": (("", "Not said"), *SURFACES),
    "frog_plate": (("", "None"), *FROG_PLATES),
    "clips": (("", "Not said"), *CLIP_LAYOUTS),
}
TEXTS = frozenset({"size_label", "packing", "nail_count", "nail_holes"})
ALWAYS = frozenset({"toe_trim_mm", "heel_trim_mm", "category"})
"""Asked in the first place even where the plan leaves them at nothing."""


@dataclass(frozen=True, slots=True)
class FieldShown:
    """One field of the form: what it starts from, what was planned, and its tolerance."""

    name: str
    reason_name: str
    label: str
    unit: str
    options: tuple[tuple[str, str], ...]
    value: str
    planned: str
    planned_says: str
    reason: str
    tolerance: float | None

    @property
    def is_number(self) -> bool:
        """Say whether it takes a number with its unit."""
        return bool(self.unit)


@dataclass(frozen=True, slots=True)
class LimbAsked:
    """One limb of the form: what the plan names first, the rest after it."""

    limb: str
    planned: tuple[FieldShown, ...]
    others: tuple[FieldShown, ...]


@dataclass(frozen=True, slots=True)
class ResetFormPage:
    """The form of a reset, filled with the plan or with the record to be put right."""

    number: int
    revision: int
    n: int
    plan_n: int
    today: date
    fitted_on: date
    limbs: tuple[LimbAsked, ...]
    interval: FieldShown
    found: str
    comfort: str
    advice: str
    why_not: str
    correction: str
    flags: tuple[str, ...]
    managed: tuple[str, ...]
    asks: tuple[Ask, ...]
    phones: tuple[tuple[str, str], ...]
    medication: tuple[str, ...]

    def label_of(self, name: str) -> str:
        """Return what a field of the form is called, for the list of what is wrong."""
        for limb in self.limbs:
            for each in (*limb.planned, *limb.others):
                if name in (each.name, each.reason_name):
                    return f"{limb.limb} {each.label.lower()}"
        if name == self.interval.reason_name:
            return self.interval.label
        return name.replace("_", " ").capitalize()


def reset_form_page(session: Session, access: CaseAccess, today: date) -> ResetFormPage:
    """Return what the form of a reset shows.

    Raises
    ------
    NotFound
        If the person never records resets, or there is no plan yet.
    """
    if not any(role in LAWS[Move.RECORD_RESET].roles for role in access.roles):
        raise NotFound("What was fitted is recorded by the farrier.")
    view = plan_of(session, access.case_id, access.state.plan_n)
    before = None
    if access.state.stage is Stage.CORRECTING:
        before = reset_of(session, access.case_id, access.state.reset_n)
    reset = before.reset if before else None
    may = access.may(Move.RECORD_RESET)
    return ResetFormPage(
        number=access.number,
        revision=access.revision,
        n=access.state.reset_n + (0 if before else 1),
        plan_n=view.plan.n,
        today=today,
        fitted_on=reset.fitted_on if reset else today,
        limbs=tuple(_limb_asked(view, before, limb) for limb in view.limbs),
        interval=_interval(view, before),
        found=(reset.found if reset else None) or "",
        comfort=(reset.comfort if reset else None) or "",
        advice=(reset.advice if reset else None) or "",
        why_not="" if may else f"Not now: the case waits for this: {access.state.task}.",
        correction=(before.countersigns[-1].words or "") if before and before.countersigns else "",
        flags=_live_flags(session, access),
        managed=_managed_flags(session, access),
        asks=asks_of(case_histories(session, [access.case_id])[access.case_id][0]),
        phones=to_ring(contacts_on(session, access.case_id)),
        medication=_medication(session, access, today),
    )


def _medication(session: Session, access: CaseAccess, today: date) -> tuple[str, ...]:
    """Return the medication that may hide pain today, a sentence each."""
    return tuple(
        f"{LABELS.get(note.facts.get('medication', ''), 'Medication')}, "
        f"{day(note.entry.happened_on)}: {note.texts.get('words', '')}"
        for note in notes_of(session, access.case_id, Move.NOTE_MEDICATION)
        if hides_pain(note, today)
    )


def _live_flags(session: Session, access: CaseAccess) -> tuple[str, ...]:
    return tuple(
        _sign(flag)
        for flag, _answer in flags_of(session, access.case_id)
        if str(flag.id) in access.state.live_flags
    )


def _managed_flags(session: Session, access: CaseAccess) -> tuple[str, ...]:
    """Return each red flag that is managed now: until when, and within which limits."""
    return tuple(
        f"{_sign(flag)}: until {day(answer.until)}. {answer.within or answer.reason}"
        for flag, answer in flags_of(session, access.case_id)
        if str(flag.id) in access.state.managed and answer is not None and answer.until
    )


def _sign(flag: RedFlag) -> str:
    return dict(SIGNS).get(flag.sign, flag.sign)


def _limb_asked(view: PlanView, before: ResetView | None, limb: str) -> LimbAsked:
    asked = [_field_shown(view, before, limb, name) for name in LIMB_FIELDS]
    named = [each for each, name in zip(asked, LIMB_FIELDS, strict=True) if _is_first(each, name)]
    return LimbAsked(limb, tuple(named), tuple(each for each in asked if each not in named))


def _is_first(shown: FieldShown, name: str) -> bool:
    return bool(name in ALWAYS or shown.planned or shown.value)


def _field_shown(view: PlanView, before: ResetView | None, limb: str, name: str) -> FieldShown:
    planned = typed_from(view.limbs[limb])
    start = typed_from(before.limbs[limb]) if before else planned
    field = plan_field(name)
    label, unit = PLAN_FIELDS[field]
    options = OPTIONS.get(name, ())
    said = _typed(planned.get(name))
    kind = KIND_OF.get(field)
    return FieldShown(
        name=f"{limb}{BETWEEN}{name}" if name != INTERVAL else INTERVAL,
        reason_name=reason_field(limb, name),
        label=label,
        unit=unit if name not in TEXTS else "",
        options=options,
        value=_typed(start.get(name)),
        planned=said,
        planned_says=dict(options).get(said) or (f"{said} {unit}".strip() if said else "nothing"),
        reason=_reason(before, limb, field),
        tolerance=AGREED[kind] if kind else None,
    )


def _typed(value: Any) -> str:  # noqa: ANN401 - a JSON value
    return "" if value in (None, 0, "0") else str(value)


def _reason(before: ResetView | None, limb: str, field: str) -> str:
    rows = before.deviations if before else ()
    return next((each.reason for each in rows if (each.limb, each.field) == (limb, field)), "")


def _interval(view: PlanView, before: ResetView | None) -> FieldShown:
    return _field_shown(view, before, next(iter(view.limbs)), INTERVAL)


@dataclass(frozen=True, slots=True)
class LimbFitted:
    """One limb as fitted beside the plan, with its readings and findings judged anew."""

    limb: str
    lines: tuple[PlanLine, ...]
    rows: tuple[ReadingRow, ...]
    findings: tuple[FindingRow, ...]
    quiet: tuple[QuietCaution, ...]
    not_foretold: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AnswerShown:
    """A vet's answer to a reset."""

    by: str
    decision: str
    words: str | None
    at: datetime


@dataclass(frozen=True, slots=True)
class ResetPage:
    """A reset as its page shows it."""

    number: int
    revision: int
    n: int
    plan_n: int
    farrier: str
    fitted_on: date
    due_on: date
    recorded_at: datetime
    found: str | None
    comfort: str | None
    advice: str | None
    summary: str
    limbs: tuple[LimbFitted, ...]
    answers: tuple[AnswerShown, ...]
    records: int
    is_latest: bool
    access: CaseAccess

    def may(self, move: str) -> bool:
        """Say whether whoever looks can make this move on this reset now."""
        return self.is_latest and self.access.may(Move(move))


def reset_page(session: Session, access: CaseAccess, n: int) -> ResetPage:
    """Return what the page of reset n shows.

    Raises
    ------
    NotFound
        If this case has no such reset.
    """
    view = reset_of(session, access.case_id, n)
    reset = view.reset
    plan = plan_of(session, access.case_id, session.get_one(PlanRow, reset.plan_id).n)
    names = names_on(session, access.case_id)
    known = acknowledged_on(session, access.case_id)
    limbs = _limbs_fitted(session, access, plan, view, known)
    return ResetPage(
        number=access.number,
        revision=access.revision,
        n=n,
        plan_n=plan.plan.n,
        farrier=names.get(reset.farrier_id, "farrier"),
        fitted_on=reset.fitted_on,
        due_on=reset.due_on,
        recorded_at=reset.recorded_at,
        found=reset.found,
        comfort=reset.comfort,
        advice=reset.advice,
        summary=summary_told({each.limb: each.findings for each in limbs}, known),
        limbs=limbs,
        answers=_answers(view, names),
        records=sum(each.n == n for each in resets_of(session, access.case_id)),
        is_latest=n == access.state.reset_n,
        access=access,
    )


def _limbs_fitted(
    session: Session,
    access: CaseAccess,
    plan: PlanView,
    view: ResetView,
    known: Sequence[Acknowledged],
) -> tuple[LimbFitted, ...]:
    limits = case_limits(session, access.case_id)
    shown = []
    for limb, content in view.limbs.items():
        findings = [each for each in view.findings if each.limb == limb]
        reasons = {each.field: each.reason for each in view.deviations if each.limb == limb}
        rows = reading_rows(
            plan.judgement.predictions[limb],
            view.judgement.predictions[limb],
            findings,
            [each for each in limits if each.limb in (None, limb)],
        )
        lines = plan_lines(plan.limbs[limb], content, reasons)
        said = view.judgement.predictions[limb]["warnings"]
        loud = " ".join(each["text"] for each in said if each["code"] == NOT_POSSIBLE)
        low = tuple(each["text"] for each in said if each["code"] != NOT_POSSIBLE)
        quiet = quiet_of(limb, findings, known)
        shown.append(LimbFitted(limb, lines, rows, tuple(findings), quiet, loud, low))
    return tuple(shown)


def _answers(view: ResetView, names: Mapping[UUID, str]) -> tuple[AnswerShown, ...]:
    rows: Sequence[Any] = view.countersigns
    return tuple(
        AnswerShown(names.get(each.vet_id, "vet"), each.decision, each.words, each.signed_at)
        for each in rows
    )
