"""What the forms of a case show beside their fields, frozen."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from referral.cases.models import Limit
from referral.cases.queries import current_limits, flags_of, people_on, questions_of
from referral.cases.schemas import (
    CERTAINTIES,
    CONDITIONS,
    LIMBS,
    OUTCOMES,
    SIGNS,
    SUBJECTS,
    URGENCIES,
)
from referral.cases.visit import Visit
from referral.core.measure.registry import MEASURES
from referral.core.workflow import LAWS, Move
from referral.errors import NotFound

TEMPLATES: dict[str, tuple[str, Move]] = {
    "problems": ("cases/problem.html", Move.SET_PROBLEM),
    "limits": ("cases/limit.html", Move.SET_LIMIT),
    "referrals": ("cases/referral.html", Move.SEND_REFERRAL),
    "questions": ("cases/question.html", Move.ASK_QUESTION),
    "answers": ("cases/answer.html", Move.ANSWER_QUESTION),
    "observations": ("cases/observation.html", Move.ADD_OBSERVATION),
    "red-flags": ("cases/red_flag.html", Move.RAISE_FLAG),
    "closures": ("cases/closure.html", Move.CLOSE),
    "reopenings": ("cases/reopening.html", Move.REOPEN),
}
STAGES = (
    ("after_fit", "After fitting"),
    ("at_due", "At the due date"),
    ("as_fitted", "As fitted"),
    ("change", "Change at this visit"),
    ("now", "Now"),
)


@dataclass(frozen=True, slots=True)
class LimitInForce:
    """A limit as the form lists it."""

    limit_id: UUID
    limb: str | None
    measure: str
    name: str
    stage: str
    at_least: float | None
    at_most: float | None
    unit: str
    strength: str


@dataclass(frozen=True, slots=True)
class FormPage:
    """A form's case, its choices, and what stands beside it."""

    template: str
    number: int
    revision: int
    today: date
    why_not: str
    limits: tuple[LimitInForce, ...]
    question: tuple[UUID, str] | None
    live_flags: tuple[tuple[UUID, str], ...]
    phones: tuple[tuple[str, str], ...]
    limbs: tuple[tuple[str, str], ...] = LIMBS
    conditions: tuple[tuple[str, str], ...] = CONDITIONS
    certainties: tuple[tuple[str, str], ...] = CERTAINTIES
    urgencies: tuple[tuple[str, str], ...] = URGENCIES
    subjects: tuple[tuple[str, str], ...] = SUBJECTS
    signs: tuple[tuple[str, str], ...] = SIGNS
    outcomes: tuple[tuple[str, str], ...] = OUTCOMES
    stages: tuple[tuple[str, str], ...] = STAGES

    @property
    def measures(self) -> tuple[tuple[str, str], ...]:
        """Every reading that a limit can be set on, with its unit."""
        return tuple(
            (code, f"{measure.name} ({measure.unit})") for code, measure in MEASURES.items()
        )


def form_page(visit: Visit, what: str) -> FormPage:
    """Return what the form of a move shows.

    Raises
    ------
    NotFound
        If this person can never make the move.
    """
    template, move = TEMPLATES[what]
    if not any(role in _entitled(move) for role in visit.access.roles):
        raise NotFound("There is no such page for you on this case.")
    session, case_id = visit.session, visit.access.case_id
    return FormPage(
        template=template,
        number=visit.number,
        revision=visit.access.revision,
        today=visit.today,
        why_not=_why_not(visit, move),
        limits=tuple(_in_force(row) for row in current_limits(session, case_id)),
        question=_open_question(visit),
        live_flags=tuple(
            (flag.id, flag.sign.replace("_", " "))
            for flag, answer in flags_of(session, case_id)
            if answer is None
        ),
        phones=tuple(
            (person.name, person.phone)
            for member, person, _organisation in people_on(session, case_id)
            if member.role == "vet" and person.phone
        ),
    )


def _why_not(visit: Visit, move: Move) -> str:
    if visit.access.may(move):
        return ""
    return f"Not now: the case waits for this: {visit.access.state.task}."


def _entitled(move: Move) -> frozenset[str]:
    return frozenset(role.value for role in LAWS[move].roles)


def _in_force(row: Limit) -> LimitInForce:
    name = MEASURES[row.measure].name if row.measure in MEASURES else row.measure
    return LimitInForce(
        limit_id=row.id,
        limb=row.limb,
        measure=row.measure,
        name=name,
        stage=row.stage,
        at_least=row.at_least,
        at_most=row.at_most,
        unit=row.unit,
        strength=row.strength,
    )


def _open_question(visit: Visit) -> tuple[UUID, str] | None:
    rows = questions_of(visit.session, visit.access.case_id)
    answered = {row.answers_id for row in rows}
    still = [row for row in rows if row.answers_id is None and row.id not in answered]
    return (still[-1].id, still[-1].words) if still else None
