"""What the forms of a case show beside their fields, frozen."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from referral.cases.asking import Request, request_of
from referral.cases.choices import (
    CERTAINTIES,
    CONDITIONS,
    LIMBS,
    OUTCOMES,
    SIGNS,
    SUBJECTS,
    TETANUS,
    URGENCIES,
)
from referral.cases.contradictions import Contradiction
from referral.cases.models import Limit
from referral.cases.queries import (
    current_limits,
    current_problems,
    flags_of,
    measured_limbs,
    open_question,
)
from referral.cases.ringing import contacts_on, to_ring
from referral.cases.visit import Visit, reading_case
from referral.core.measure.registry import MEASURES
from referral.core.workflow import Move
from referral.errors import NotFound
from referral.web.written import unit_sign

TEMPLATES: dict[str, tuple[str, Move]] = {
    "problems": ("cases/problem.html", Move.SET_PROBLEM),
    "limits": ("cases/limit.html", Move.SET_LIMIT),
    "referrals": ("cases/referral.html", Move.SEND_REFERRAL),
    "questions": ("cases/question.html", Move.ASK_QUESTION),
    "answers": ("cases/answer.html", Move.ANSWER_QUESTION),
    "observations": ("cases/observation.html", Move.ADD_OBSERVATION),
    "red-flags": ("cases/red_flag.html", Move.RAISE_FLAG),
    "take-ups": ("cases/take_up.html", Move.TAKE_UP),
    "answers-with-reason": ("cases/turn_down.html", Move.TURN_DOWN),
    "closures": ("cases/closure.html", Move.CLOSE),
    "reopenings": ("cases/reopening.html", Move.REOPEN),
}
ABOUT: dict[str, tuple[str, Move]] = {
    "withdrawals": ("cases/withdrawal.html", Move.SET_LIMIT),
    "flag-answers": ("cases/flag_answer.html", Move.ANSWER_FLAG),
}
"""Forms about one limit or one red flag of the case."""
FORMS = {**TEMPLATES, **ABOUT}
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
    question: str | None
    open_flags: tuple[tuple[UUID, str], ...]
    phones: tuple[tuple[str, str], ...]
    asked: Request | None = None
    about: UUID | None = None
    contradictions: tuple[Contradiction, ...] = ()
    problems: tuple[tuple[str, str], ...] = ()
    limbs: tuple[tuple[str, str], ...] = LIMBS
    conditions: tuple[tuple[str, str], ...] = CONDITIONS
    certainties: tuple[tuple[str, str], ...] = CERTAINTIES
    urgencies: tuple[tuple[str, str], ...] = URGENCIES
    subjects: tuple[tuple[str, str], ...] = SUBJECTS
    signs: tuple[tuple[str, str], ...] = SIGNS
    tetanus: tuple[tuple[str, str], ...] = TETANUS
    outcomes: tuple[tuple[str, str], ...] = OUTCOMES
    stages: tuple[tuple[str, str], ...] = STAGES

    @property
    def limit(self) -> LimitInForce:
        """The limit that the form is about."""
        return next(each for each in self.limits if each.limit_id == self.about)

    @property
    def flag(self) -> tuple[UUID, str]:
        """The red flag that the form is about."""
        return next(each for each in self.open_flags if each[0] == self.about)

    @property
    def measures(self) -> tuple[tuple[str, str], ...]:
        """Every reading that a limit can be set on, with its unit."""
        return tuple(
            (
                code,
                f"{measure.name} ({sign})" if (sign := unit_sign(measure.unit)) else measure.name,
            )
            for code, measure in MEASURES.items()
        )


def form_page(visit: Visit, what: str, about: UUID | None = None) -> FormPage:
    """Return what the form of a move shows; ``about`` names the limit or the red flag.

    Raises
    ------
    NotAllowed
        If this person can never make the move.
    NotFound
        If this case has no such limit or flag.
    """
    template, move = FORMS[what]
    visit.access.check_role(move)
    page = FormPage(
        template=template,
        number=visit.number,
        revision=visit.access.revision,
        today=visit.today,
        why_not=visit.access.why_not(move),
        limits=tuple(_in_force(row) for row in current_limits(visit.session, visit.access.case_id)),
        question=_open_question(visit),
        open_flags=_open_flags(visit),
        phones=to_ring(contacts_on(visit.session, visit.access.case_id)),
        asked=request_of(visit.session, visit.access.case_id),
        about=about,
        contradictions=(
            contradictions_on(visit, measured_limbs(visit.session, visit.access.case_id))
            if move is Move.SEND_REFERRAL
            else ()
        ),
        problems=_problems(visit) if move is Move.SET_PROBLEM else (),
    )
    if what == "withdrawals" and about not in {each.limit_id for each in page.limits}:
        raise NotFound("There is no such limit in force on this case.")
    if what == "flag-answers" and about not in {each[0] for each in page.open_flags}:
        raise NotFound("There is no such red flag waiting on this case.")
    return page


def _problems(visit: Visit) -> tuple[tuple[str, str], ...]:
    """Return what is recorded on each limb now, in words."""
    named = dict(CONDITIONS)
    return tuple(
        (each.limb, named.get(each.condition, each.condition))
        for each in current_problems(visit.session, visit.access.case_id)
    )


def contradictions_on(visit: Visit, limbs: Iterable[str]) -> tuple[Contradiction, ...]:
    """Return which limits in force contradict each other, limb by limb.

    What finds them predicts plans, so that it is joined in from above.
    """
    find = visit.wired.contradictions
    if find is None:
        return ()
    return tuple(find(visit.session, visit.access, sorted(limbs), visit.today))


@dataclass(frozen=True, slots=True)
class Searched:
    """Which limits contradict each other on these limbs, of a case as it was at a revision."""

    revision: int
    today: date
    limbs: frozenset[str]
    found: tuple[Contradiction, ...]

    def holds_for(self, visit: Visit, limbs: Iterable[str]) -> bool:
        """Say whether the search was of these limbs on the case as it is now."""
        is_as_it_was = (self.revision, self.today) == (visit.access.revision, visit.today)
        return is_as_it_was and self.limbs >= set(limbs)


def search_before(number: int, limbs: Iterable[str]) -> Searched:
    """Search before the case is written to: it takes long, and everybody's writing waits."""
    with reading_case(number) as visit:
        asked = dict(LIMBS).keys() & set(limbs)
        if not visit.access.may(Move.SEND_REFERRAL):
            asked = set()
        found = contradictions_on(visit, asked) if asked else ()
        return Searched(visit.access.revision, visit.today, frozenset(asked), found)


def contradictions_now(
    visit: Visit, limbs: Sequence[str], before: Searched
) -> tuple[Contradiction, ...]:
    """Return what was found before if the case is still the one searched, else search again."""
    if before.holds_for(visit, limbs):
        return tuple(each for each in before.found if each.limb in limbs)
    return contradictions_on(visit, limbs)


def _open_flags(visit: Visit) -> tuple[tuple[UUID, str], ...]:
    said = dict(SIGNS)
    state = visit.access.state
    return tuple(
        (flag.id, said.get(flag.sign, flag.sign))
        for flag, _answer in flags_of(visit.session, visit.access.case_id)
        if str(flag.id) in {*state.live_flags, *state.managed}
    )


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


def _open_question(visit: Visit) -> str | None:
    question = open_question(visit.session, visit.access.case_id)
    return question.words if question else None
