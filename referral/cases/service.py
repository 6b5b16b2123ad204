"""The verbs that carry a case: open, diagnose, limit, refer, ask and answer."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.contradictions import Contradiction
from referral.cases.joining import ask_owner, is_foreseen
from referral.cases.models import (
    Case,
    CaseMember,
    Counter,
    Limit,
    Problem,
    Question,
    Referral,
)
from referral.cases.queries import (
    case_for,
    current_limits,
    current_problems,
    measured_limbs,
    open_question,
)
from referral.cases.timeline import NewEntry, append, digest, ground_facts
from referral.core.workflow import Move, Role
from referral.errors import Invalid, NotFound
from referral.storage.ids import new_id


@dataclass(frozen=True, slots=True)
class Member:
    """A person to be put on a case."""

    person_id: UUID
    role: Role
    organisation_id: UUID | None


@dataclass(frozen=True, slots=True)
class OpenCase:
    """A case on a horse: who opens it, and who else is on it."""

    horse_id: UUID
    jurisdiction: str
    zone: str
    opener: Member
    others: tuple[Member, ...]
    happened_on: date


def open_case(session: Session, command: OpenCase, now: datetime) -> CaseAccess:
    """Open a case, ask the horse's owner where nobody is yet, and give the opener's access."""
    access = begin_case(session, command, now)
    facts = {"horse": str(command.horse_id)}
    append(session, access, NewEntry(Move.OPEN_CASE, command.happened_on, facts), now)
    ask_owner(session, access, command.happened_on, now)
    return case_for(session, command.opener.person_id, access.number)


def begin_case(session: Session, command: OpenCase, now: datetime) -> CaseAccess:
    """Make a case and who is on it; the entry it begins with is the caller's."""
    case = Case(
        id=new_id(now),
        number=_next_number(session, "case"),
        horse_id=command.horse_id,
        jurisdiction=command.jurisdiction,
        zone=command.zone,
        opened_by=command.opener.person_id,
        opened_at=now,
    )
    session.add(case)
    session.flush()
    for member in (command.opener, *command.others):
        session.add(_member_row(case.id, member, now))
    session.flush()
    return case_for(session, command.opener.person_id, case.number)


def _next_number(session: Session, name: str) -> int:
    counter = session.scalars(
        select(Counter).where(Counter.name == name).with_for_update()
    ).one_or_none()
    if counter is None:
        counter = Counter(name=name, value=0)
        session.add(counter)
    counter.value += 1
    return counter.value


def _member_row(case_id: UUID, member: Member, now: datetime) -> CaseMember:
    return CaseMember(
        id=new_id(now),
        case_id=case_id,
        person_id=member.person_id,
        organisation_id=member.organisation_id,
        role=member.role.value,
        since=now,
    )


OF_A_LIMIT = (
    "measure",
    "stage",
    "at_least",
    "at_most",
    "unit",
    "strength",
    "limb",
    "reason",
    "review_on",
)
"""What of a limit a plan rests on."""


@dataclass(frozen=True, slots=True)
class SetProblem:
    """The vet's diagnosis on a limb and how sure it is."""

    limb: str
    condition: str
    certainty: str
    words: str | None
    happened_on: date


def set_problem(session: Session, access: CaseAccess, command: SetProblem, now: datetime) -> None:
    """Record the problem on a limb; it takes the place of the one before.

    Raises
    ------
    Invalid
        If it is something else than the list has, and it is not said what.
    """
    if command.condition == "other" and not command.words:
        raise Invalid("Say what the problem is.", {"words": ["Say here what it is."]})
    row = Problem(
        id=new_id(now),
        case_id=access.case_id,
        limb=command.limb,
        condition=command.condition,
        certainty=command.certainty,
        words=command.words,
        recorded_by=access.actor_id,
        recorded_at=now,
    )
    before = _problems_digest(session, access.case_id)
    session.add(row)
    session.flush()
    facts = {
        "limb": command.limb,
        "condition": command.condition,
        "certainty": command.certainty,
        **ground_facts("problems", before, _problems_digest(session, access.case_id)),
    }
    new = NewEntry(Move.SET_PROBLEM, command.happened_on, facts, {"words": command.words}, row.id)
    append(session, access, new, now)


@dataclass(frozen=True, slots=True)
class SetLimit:
    """A limit in numbers. ``replaces_id`` names the one it takes the place of."""

    measure: str
    stage: str
    at_least: float | None
    at_most: float | None
    unit: str
    strength: str
    limb: str | None
    reason: str | None
    review_on: date | None
    happened_on: date
    replaces_id: UUID | None = None
    withdrawn: bool = False


def set_limit(session: Session, access: CaseAccess, command: SetLimit, now: datetime) -> UUID:
    """Set, replace or withdraw a limit of the vet's on this case.

    Raises
    ------
    Invalid
        If the limit has no bound, or bounds that cross.
    NotFound
        If the limit to be replaced is none in force on this case.
    """
    _check_bounds(command)
    in_force = {row.id for row in current_limits(session, access.case_id)}
    if command.replaces_id and command.replaces_id not in in_force:
        raise NotFound("The limit to be replaced is not in force on this case.")
    row = Limit(
        id=new_id(now),
        case_id=access.case_id,
        limb=command.limb,
        measure=command.measure,
        stage=command.stage,
        at_least=command.at_least,
        at_most=command.at_most,
        unit=command.unit,
        strength=command.strength,
        reason=command.reason,
        review_on=command.review_on,
        withdrawn=command.withdrawn,
        replaces_id=command.replaces_id,
        set_by=access.actor_id,
        set_at=now,
    )
    before = _limits_digest(session, access.case_id)
    session.add(row)
    session.flush()
    facts = {
        "measure": command.measure,
        "stage": command.stage,
        "at_least": command.at_least,
        "at_most": command.at_most,
        "unit": command.unit,
        "strength": command.strength,
        "limb": command.limb,
        "withdrawn": command.withdrawn,
        **ground_facts("limits", before, _limits_digest(session, access.case_id)),
    }
    new = NewEntry(Move.SET_LIMIT, command.happened_on, facts, {"reason": command.reason}, row.id)
    append(session, access, new, now)
    return row.id


def _limits_digest(session: Session, case_id: UUID) -> str:
    limits = current_limits(session, case_id)
    return digest([[str(getattr(each, key)) for key in OF_A_LIMIT] for each in limits])


def _problems_digest(session: Session, case_id: UUID) -> str:
    problems = current_problems(session, case_id)
    return digest(sorted([each.limb, each.condition] for each in problems))


def _check_bounds(command: SetLimit) -> None:
    if command.withdrawn:
        return
    if command.at_least is None and command.at_most is None:
        raise Invalid("Give at least one bound.", {"at_least": ["Give at least or at most."]})
    both = command.at_least is not None and command.at_most is not None
    if both and float(command.at_least or 0) > float(command.at_most or 0):
        sentence = "At least is above at most: nothing could meet this limit."
        raise Invalid(sentence, {"at_least": [sentence]})


@dataclass(frozen=True, slots=True)
class SendReferral:
    """Send the case to the farrier: limbs, urgency, goals, and limits or none on purpose."""

    limbs: tuple[str, ...]
    urgency: str
    goals: str
    open_to_farrier: str | None
    no_limits: bool
    happened_on: date
    based_on: int
    contradictions: tuple[Contradiction, ...] = ()
    contradiction_reason: str | None = None


def send_referral(
    session: Session, access: CaseAccess, command: SendReferral, now: datetime
) -> None:
    """Send the referral; the farrier's turn begins.

    Raises
    ------
    Invalid
        If there is neither a limit nor an explicit "no limits", no reading yet, or if
        limits contradict each other and nothing is said of it.
    """
    _check_referral(session, access, command, now)
    number = access.state.referral_n + 1
    row = Referral(
        id=new_id(now),
        case_id=access.case_id,
        n=number,
        limbs=list(command.limbs),
        urgency=command.urgency,
        goals=command.goals,
        open_to_farrier=command.open_to_farrier,
        no_limits=command.no_limits,
        contradictions=[asdict(each) for each in command.contradictions] or None,
        contradiction_reason=command.contradiction_reason if command.contradictions else None,
        sent_by=access.actor_id,
        sent_at=now,
    )
    session.add(row)
    facts = {"n": number, "limbs": list(command.limbs), "urgency": command.urgency}
    if row.contradictions:
        facts["contradictions"] = row.contradictions
    texts = {
        "goals": command.goals,
        "open_to_farrier": command.open_to_farrier,
        "contradiction_reason": row.contradiction_reason,
    }
    new = NewEntry(Move.SEND_REFERRAL, command.happened_on, facts, texts, row.id, command.based_on)
    append(session, access, new, now)


def _check_referral(
    session: Session, access: CaseAccess, command: SendReferral, now: datetime
) -> None:
    faults: dict[str, list[str]] = {}
    limits = current_limits(session, access.case_id)
    if not limits and not command.no_limits:
        faults["no_limits"] = ["Set a limit first, or tick that there are none on purpose."]
    if limits and command.no_limits:
        faults["no_limits"] = ["There are limits on this case; take the tick away."]
    if not is_foreseen(session, access.case_id, Role.FARRIER, now):
        faults[""] = ["Ask a farrier onto the case first: nobody would get this."]
    if not command.limbs:
        faults["limbs"] = ["Name at least one limb."]
    measured = measured_limbs(session, access.case_id)
    missing = [limb for limb in command.limbs if limb not in measured]
    if missing:
        names = ", ".join(missing)
        faults["limbs"] = [f"Measure a film of {names} or type readings before you refer it."]
    if command.contradictions and not command.contradiction_reason:
        faults["contradiction_reason"] = ["Change a limit first, or say why it goes out so."]
    if faults:
        raise Invalid("The referral is not complete yet.", faults)


@dataclass(frozen=True, slots=True)
class Words:
    """A sentence that goes with a move, and the revision it was written on."""

    words: str | None
    happened_on: date
    based_on: int | None = None
    reference: UUID | None = None
    facts: Mapping[str, object] = field(default_factory=dict)


def acknowledge(session: Session, access: CaseAccess, command: Words, now: datetime) -> None:
    """Acknowledge the referral; the farrier plans next."""
    write_words(session, access, Move.ACKNOWLEDGE, command, now)


def ask_question(session: Session, access: CaseAccess, command: Words, now: datetime) -> None:
    """Send the case back with a question.

    Raises
    ------
    Invalid
        If there is no question.
    """
    _write_question(session, access, Move.ASK_QUESTION, command, now)


def answer_question(session: Session, access: CaseAccess, command: Words, now: datetime) -> None:
    """Answer the farrier's question.

    Raises
    ------
    Invalid
        If there is no answer.
    """
    _write_question(session, access, Move.ANSWER_QUESTION, command, now)


def _write_question(
    session: Session, access: CaseAccess, move: Move, command: Words, now: datetime
) -> None:
    if not command.words:
        raise Invalid("Write it first.", {"words": ["Write it first."]})
    answers = open_question(session, access.case_id) if move is Move.ANSWER_QUESTION else None
    row = Question(
        id=new_id(now),
        case_id=access.case_id,
        answers_id=answers.id if answers else None,
        words=command.words,
        written_by=access.actor_id,
        written_at=now,
    )
    session.add(row)
    texts = {"words": command.words}
    new = NewEntry(move, command.happened_on, {}, texts, row.id, command.based_on)
    append(session, access, new, now)


def write_words(
    session: Session, access: CaseAccess, move: Move, command: Words, now: datetime
) -> None:
    """Append a move that is nothing but its entry and a sentence."""
    texts = {"words": command.words}
    new = NewEntry(
        move, command.happened_on, command.facts, texts, command.reference, command.based_on
    )
    append(session, access, new, now)
