"""The verbs that never wait for a turn: observe, raise and answer a red flag, close, reopen."""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.lapses import watch_for_lapse
from referral.cases.models import Closure, FlagAnswer, Observation, RedFlag
from referral.cases.queries import case_histories
from referral.cases.service import Words, write_words
from referral.cases.timeline import NewEntry, append
from referral.core.watch import What, asks_of
from referral.core.workflow import Move
from referral.errors import Invalid, NotFound
from referral.storage.ids import new_id


@dataclass(frozen=True, slots=True)
class AddObservation:
    """What somebody saw: on which limb, about what, in their words."""

    limb: str | None
    about: str
    words: str
    happened_on: date


def add_observation(
    session: Session, access: CaseAccess, command: AddObservation, now: datetime
) -> None:
    """Record an observation; it never conflicts with anybody's work."""
    row = Observation(
        id=new_id(now),
        case_id=access.case_id,
        limb=command.limb,
        about=command.about,
        words=command.words,
        happened_on=command.happened_on,
        recorded_by=access.actor_id,
        recorded_at=now,
    )
    session.add(row)
    facts = {"limb": command.limb, "about": command.about}
    new = NewEntry(
        Move.ADD_OBSERVATION, command.happened_on, facts, {"words": command.words}, row.id
    )
    append(session, access, new, now)


@dataclass(frozen=True, slots=True)
class RaiseFlag:
    """A sign that must stop planned work."""

    sign: str
    limb: str | None
    words: str | None
    happened_on: date
    tetanus: str | None = None


def raise_flag(session: Session, access: CaseAccess, command: RaiseFlag, now: datetime) -> None:
    """Raise a red flag; planned work waits for the vet's answer."""
    row = RedFlag(
        id=new_id(now),
        case_id=access.case_id,
        limb=command.limb,
        sign=command.sign,
        words=command.words,
        raised_by=access.actor_id,
        raised_at=now,
    )
    session.add(row)
    facts = {"flag": str(row.id), "sign": command.sign, "limb": command.limb}
    if command.tetanus:
        facts["tetanus"] = command.tetanus
    new = NewEntry(Move.RAISE_FLAG, command.happened_on, facts, {"words": command.words}, row.id)
    append(session, access, new, now)


@dataclass(frozen=True, slots=True)
class AnswerFlag:
    """The vet's answer to one red flag."""

    flag_id: UUID
    answer: str
    reason: str
    until: date | None
    happened_on: date
    within: str | None = None
    tetanus: str | None = None


def answer_flag(session: Session, access: CaseAccess, command: AnswerFlag, now: datetime) -> None:
    """Answer a red flag: resolved, or known and managed within limits until a day.

    One that is managed can be answered again at any time.

    Raises
    ------
    NotFound
        If this case has no such flag that is live or managed.
    Invalid
        If the flag is to be managed but no day is given, or one that has passed; or it is a
        puncture and nobody has said how the tetanus vaccination stands.
    """
    state = access.state
    if str(command.flag_id) not in {*state.live_flags, *state.managed}:
        raise NotFound("There is no such red flag waiting on this case.")
    _check_until(command)
    _ask_tetanus(session, access, command)
    row = FlagAnswer(
        id=new_id(now),
        flag_id=command.flag_id,
        answer=command.answer,
        reason=command.reason,
        within=command.within,
        until=command.until,
        answered_by=access.actor_id,
        answered_at=now,
    )
    session.add(row)
    watch_for_lapse(session, row, access.zone, now)
    until = command.until.isoformat() if command.until else None
    facts = {"flag": str(command.flag_id), "answer": command.answer, "until": until}
    if command.tetanus:
        facts["tetanus"] = command.tetanus
    texts = {"reason": command.reason, "within": command.within}
    new = NewEntry(Move.ANSWER_FLAG, command.happened_on, facts, texts, row.id)
    append(session, access, new, now)


def _check_until(command: AnswerFlag) -> None:
    if command.answer != "managed":
        if command.until is not None:
            said = "Only what is known and managed has a last day; leave it empty."
            raise Invalid("Look at the day again.", {"until": [said]})
        return
    if command.until is None:
        raise Invalid("Say until when.", {"until": ["Say until which day this holds."]})
    if command.until < command.happened_on:
        raise Invalid("Say until when.", {"until": ["This day has passed."]})


def _ask_tetanus(session: Session, access: CaseAccess, command: AnswerFlag) -> None:
    if command.tetanus or session.get_one(RedFlag, command.flag_id).sign != "penetrating_object":
        return
    entries, _last = case_histories(session, [access.case_id])[access.case_id]
    if any(each.what is What.TETANUS for each in asks_of(entries)):
        said = "Say how the tetanus vaccination stands; not known is an answer too."
        raise Invalid("A puncture asks for tetanus.", {"tetanus": [said]})


def close_case(
    session: Session, access: CaseAccess, outcome: str, command: Words, now: datetime
) -> None:
    """Close the case with its outcome."""
    row = Closure(
        id=new_id(now),
        case_id=access.case_id,
        outcome=outcome,
        words=command.words,
        closed_by=access.actor_id,
        closed_at=now,
    )
    session.add(row)
    facts = {"outcome": outcome}
    texts = {"words": command.words}
    new = NewEntry(Move.CLOSE, command.happened_on, facts, texts, row.id, command.based_on)
    append(session, access, new, now)


def reopen_case(session: Session, access: CaseAccess, command: Words, now: datetime) -> None:
    """Open a closed case again, with the reason.

    Raises
    ------
    Invalid
        If no reason is given.
    """
    if not command.words:
        raise Invalid("Say why.", {"words": ["Say why it is opened again."]})
    write_words(session, access, Move.REOPEN, command, now)
