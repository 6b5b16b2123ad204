"""A farrier or an owner asks for an examination, and a vet takes the case up or answers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.joining import (
    AskOnto,
    Choice,
    ask_owner,
    invite,
    known_person,
    organisation_for,
)
from referral.cases.models import Entry, Observation
from referral.cases.queries import case_for
from referral.cases.service import (
    Member,
    OpenCase,
    Words,
    begin_case,
    write_words,
)
from referral.cases.timeline import NewEntry, append, texts_of
from referral.core.workflow import Move, Role
from referral.errors import Invalid
from referral.storage.ids import new_id


@dataclass(frozen=True, slots=True)
class AskExamination:
    """What is asked: of which vet, on which limb, what was seen, how urgent it is."""

    case: OpenCase
    vet: Choice
    limb: str
    about: str
    words: str
    urgency: str


def ask_examination(session: Session, command: AskExamination, now: datetime) -> CaseAccess:
    """Open a case that waits for a vet, and give the access of whoever asks.

    Raises
    ------
    NotFound
        If the vet is none whom they know.
    """
    opener = command.case.opener
    access = begin_case(session, command.case, now)
    seen = Observation(
        id=new_id(now),
        case_id=access.case_id,
        limb=command.limb,
        about=command.about,
        words=command.words,
        happened_on=command.case.happened_on,
        recorded_by=opener.person_id,
        recorded_at=now,
    )
    session.add(seen)
    facts = {
        "horse": str(command.case.horse_id),
        "limb": command.limb,
        "about": command.about,
        "urgency": command.urgency,
    }
    texts = {"words": command.words}
    day = command.case.happened_on
    new = NewEntry(Move.ASK_EXAMINATION, day, facts, texts, seen.id)
    append(session, access, new, now)
    if command.vet.email is not None:
        invite(session, access, AskOnto(Role.VET, command.vet, day), now)
    ask_owner(session, access, day, now)
    return case_for(session, opener.person_id, access.number)


def vet_chosen(session: Session, asker_id: UUID, choice: Choice) -> tuple[Member, ...]:
    """Return the vet who is chosen as a member of the case, or nobody where an address is asked.

    Raises
    ------
    NotFound
        If the person is no vet whom the asker knows.
    """
    if choice.person_id is None:
        return ()
    vet = known_person(session, asker_id, Role.VET, choice.person_id)
    return (Member(vet.person_id, Role.VET, organisation_for(vet, Role.VET)),)


def take_up(session: Session, access: CaseAccess, command: Words, now: datetime) -> None:
    """Take up what is asked: the case is the vet's to measure and refer."""
    write_words(session, access, Move.TAKE_UP, command, now)


def turn_down(session: Session, access: CaseAccess, command: Words, now: datetime) -> None:
    """Answer what is asked with a reason, and nothing else: the case is closed.

    Raises
    ------
    Invalid
        If no reason is given.
    """
    if not command.words:
        raise Invalid("Say why.", {"words": ["Whoever asked needs to know why."]})
    write_words(session, access, Move.TURN_DOWN, command, now)


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked for, as those on the case read it."""

    limb: str
    about: str
    urgency: str
    words: str
    asked_on: date
    by: UUID


def request_of(session: Session, case_id: UUID) -> Request | None:
    """Return the request for an examination that a case began with, if it did."""
    entries = session.scalars(
        select(Entry).where(Entry.case_id == case_id, Entry.kind == Move.ASK_EXAMINATION.value)
    ).all()
    return request_in(entries, texts_of(session, entries))


def request_in(entries: Sequence[Entry], texts: Mapping[UUID, Mapping[str, str]]) -> Request | None:
    """Return the request for an examination that stands among a case's entries, if one does."""
    for entry in entries:
        if entry.kind == Move.ASK_EXAMINATION.value:
            said, words = entry.content, texts.get(entry.id, {}).get("words", "")
            day, by = entry.happened_on, entry.actor_id
            return Request(said["limb"], said["about"], said["urgency"], words, day, by)
    return None
