"""What the desk and the case page show, frozen and ready to print."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from referral.cases.access import CaseAccess
from referral.cases.asking import Request
from referral.cases.choices import JURISDICTIONS
from referral.cases.invitations import Asked
from referral.cases.ringing import contacts_of, to_ring
from referral.core.diary import DueItem
from referral.core.ground import OPPOSITE
from referral.core.watch import Ask
from referral.core.workflow import Move, Role
from referral.films.guides import GuidesPage

NO_OWNER = "no owner recorded"


@dataclass(frozen=True, slots=True)
class DeskRow:
    """One case on the desk: what it waits for, and how it stands for whoever looks.

    ``pressing`` is what makes it due or overdue; ``due`` is what else is due beside the next
    reset: rechecks that are late, checks after fitting.
    """

    number: int
    horse: str
    limbs: tuple[str, ...]
    problem: str
    task: str
    standing: str
    turn: str | None
    due_on: date | None
    pressing: DueItem | None
    due: tuple[DueItem, ...]
    asks: tuple[Ask, ...]
    has_red_flag: bool
    unread: int


@dataclass(frozen=True, slots=True)
class LeftLine:
    """A case that whoever looks handed over: to whom, and when."""

    number: int
    horse: str
    to: str
    handed_on: date


@dataclass(frozen=True, slots=True)
class DeskPage:
    """The desk: every case of this person, those that wait on them first; what they are asked."""

    rows: tuple[DeskRow, ...]
    asked: tuple[Asked, ...]
    left: tuple[LeftLine, ...]
    may_open: bool
    may_ask: bool

    def group(self, *standings: str) -> tuple[DeskRow, ...]:
        """Return the rows that stand in one of these ways."""
        return tuple(row for row in self.rows if row.standing in standings)


@dataclass(frozen=True, slots=True)
class PersonLine:
    """Somebody on the case."""

    person_id: UUID
    name: str
    role: str
    organisation: str | None
    phone: str | None
    out_of_hours: str | None


@dataclass(frozen=True, slots=True)
class AskedLine:
    """Somebody who was asked onto the case and is not on it: until when, or that they declined."""

    invitation_id: UUID
    email: str
    role: str
    ends_at: datetime
    is_over: bool
    declined: bool


@dataclass(frozen=True, slots=True)
class ProblemLine:
    """The vet's diagnosis on one limb."""

    limb: str
    condition: str
    certainty: str
    words: str | None


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit of the vet's, in words."""

    limit_id: UUID
    limb: str | None
    measure: str
    name: str
    stage: str
    says: str
    strength: str
    reason: str | None


@dataclass(frozen=True, slots=True)
class ReadingCell:
    """One reading with U = 2u and its unit, or why it is absent."""

    value: float
    expanded_u: float
    unit: str
    scale_state: str


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One reading over the sets that were taken, newest first."""

    code: str
    name: str
    unit: str
    cells: tuple[ReadingCell | None, ...]
    defined: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingTable:
    """A limb's readings: a column a set."""

    limb: str
    outside: bool
    taken_on: tuple[date, ...]
    source: tuple[str, ...]
    lines: tuple[ReadingLine, ...]


@dataclass(frozen=True, slots=True)
class FilmLine:
    """A film as the case page lists it."""

    film_id: UUID
    limb: str
    view: str
    taken_on: date
    is_measured: bool
    scale_state: str
    erased: datetime | None


@dataclass(frozen=True, slots=True)
class AssessmentLine:
    """An assessment as the case page lists it."""

    assessment_id: UUID
    limb: str
    seen_on: date
    answered: int


@dataclass(frozen=True, slots=True)
class CallLine:
    """A call note as the case page lists it."""

    call_id: UUID
    by: str
    with_whom: str
    happened_on: date
    words: str
    confirmed_by: str
    may_confirm: bool


@dataclass(frozen=True, slots=True)
class MedicationLine:
    """A medication note as the case page and the visit's page show it."""

    what: str
    words: str
    limb: str | None
    given_on: date
    wears_off_on: str | None


@dataclass(frozen=True, slots=True)
class PlanLine:
    """A plan as the case page lists it."""

    n: int
    author: str
    submitted_at: datetime
    summary: str
    status: str


@dataclass(frozen=True, slots=True)
class ResetLine:
    """A reset as the case page lists it."""

    n: int
    plan_n: int
    fitted_on: date
    due_on: date
    summary: str
    status: str


@dataclass(frozen=True, slots=True)
class SheetLine:
    """A sheet as the case page lists it."""

    sheet_id: UUID
    kind: str
    made_at: datetime
    signed_by: tuple[str, ...]
    is_complete: bool
    is_replaced: bool
    erased: datetime | None
    fetched: str


@dataclass(frozen=True, slots=True)
class FlagLine:
    """A red flag and its last answer; ``is_live`` says that planned work waits for a new one."""

    flag_id: UUID
    sign: str
    limb: str | None
    words: str | None
    raised_by: str
    raised_at: datetime
    answer: str | None
    reason: str | None
    within: str | None
    until: date | None
    is_live: bool
    is_managed: bool


@dataclass(frozen=True, slots=True)
class PhotoLine:
    """A photo of an assessment, as the timeline shows it."""

    photo_id: UUID
    assessment_id: UUID
    of: str


@dataclass(frozen=True, slots=True)
class TimelineLine:
    """One entry of the timeline in plain words."""

    seq: int
    kind: str
    says: str
    who: str
    role: str
    happened_on: date
    recorded_at: datetime
    is_late: bool
    texts: Mapping[str, str]
    photos: tuple[PhotoLine, ...] = ()


@dataclass(frozen=True, slots=True)
class QuestionLine:
    """A question or an answer between the two sides."""

    question_id: UUID
    is_answer: bool
    words: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ReferralLine:
    """The referral in force."""

    n: int
    limbs: tuple[str, ...]
    urgency: str
    goals: str
    open_to_farrier: str | None
    no_limits: bool
    contradictions: tuple[str, ...]
    contradiction_reason: str | None
    sent_at: datetime


@dataclass(frozen=True, slots=True)
class FootLine:
    """One foot of a pair: its problem, and when it was last looked at on this case."""

    limb: str
    problem: str
    seen_on: date | None


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """Everything that a case has come to since it was opened, newest first."""

    access: CaseAccess
    horse: str
    plans: tuple[PlanLine, ...]
    resets: tuple[ResetLine, ...]
    sheets: tuple[SheetLine, ...]
    timeline: tuple[TimelineLine, ...]


@dataclass(frozen=True, slots=True)
class CasePage:
    """Everything the case page prints; of plans, resets, sheets and entries the newest."""

    access: CaseAccess
    horse: str
    horse_says: str
    chip: str | None
    ueln: str | None
    owner: str
    standing: str
    unread: int
    unread_elsewhere: int
    today: date
    recheck: str | None
    due: tuple[DueItem, ...]
    asks: tuple[Ask, ...]
    people: tuple[PersonLine, ...]
    asked: tuple[AskedLine, ...]
    problems: tuple[ProblemLine, ...]
    limits: tuple[LimitLine, ...]
    request: Request | None
    referral: ReferralLine | None
    questions: tuple[QuestionLine, ...]
    flags: tuple[FlagLine, ...]
    films: tuple[FilmLine, ...]
    guides: Mapping[str, GuidesPage]
    assessments: tuple[AssessmentLine, ...]
    calls: tuple[CallLine, ...]
    medication: tuple[MedicationLine, ...]
    readings: tuple[ReadingTable, ...]
    plans: tuple[PlanLine, ...]
    judged_by: str | None
    resets: tuple[ResetLine, ...]
    sheets: tuple[SheetLine, ...]
    sheet_count: int
    timeline: tuple[TimelineLine, ...]

    @property
    def feet(self) -> tuple[FootLine, ...]:
        """Every foot that the case is about and the one opposite, whether or not it is."""
        named = {each.limb for each in self.problems} | {each.limb for each in self.films}
        named |= set(self.referral.limbs if self.referral else ())
        named |= {each.limb for each in self.readings}
        both = named | {OPPOSITE[limb] for limb in named}
        return tuple(self._foot(limb) for limb in OPPOSITE if limb in both)

    def _foot(self, limb: str) -> FootLine:
        problems = [each.condition for each in self.problems if each.limb == limb]
        days = [
            *(each.taken_on for each in self.films if each.limb == limb),
            *(each.seen_on for each in self.assessments if each.limb == limb),
            *(on for table in self.readings if table.limb == limb for on in table.taken_on),
        ]
        return FootLine(limb, ", ".join(problems), max(days, default=None))

    @property
    def law(self) -> str:
        """Whose law applies, in words."""
        return dict(JURISDICTIONS).get(self.access.jurisdiction, self.access.jurisdiction)

    @property
    def owner_not_asked(self) -> bool:
        """Say whether an owner is known by name who is neither on the case nor asked."""
        roles = {each.role for each in self.people} | {each.role for each in self.asked}
        return self.owner != NO_OWNER and Role.OWNER.value not in roles

    @property
    def phones(self) -> tuple[tuple[str, str], ...]:
        """The numbers to ring on a red flag, with whose they are."""
        return to_ring(contacts_of(self.people))

    def may(self, move: str) -> bool:
        """Say whether whoever looks can make this move now."""
        return self.access.may(Move(move))
