"""Notes on a case: keep one, confirm a call, read them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Entry
from referral.cases.note_kinds import NoteKind
from referral.cases.queries import people_on
from referral.cases.timeline import NewEntry, append, entries_of, texts_of
from referral.core.workflow import Move
from referral.errors import Invalid, NotAllowed, NotFound

Texts = Mapping[UUID, Mapping[str, str]]
"""What entries say in words, by entry."""


@dataclass(frozen=True, slots=True)
class KeepNote:
    """A note as it was filled in."""

    kind: NoteKind
    answers: Mapping[str, Any]
    happened_on: date


@dataclass(frozen=True, slots=True)
class Note:
    """A note as it is read: its entry, what it says, who confirmed it."""

    entry: Entry
    texts: Mapping[str, str]
    confirmed_by: UUID | None = None

    @property
    def facts(self) -> Mapping[str, Any]:
        """The note's closed answers and days."""
        return self.entry.content


def keep_note(session: Session, access: CaseAccess, command: KeepNote, now: datetime) -> Entry:
    """Keep a note; it never conflicts with anybody's work.

    Raises
    ------
    NotAllowed, WrongState
        If this person may not keep such a note, or not now.
    Invalid
        If a call is said to be with oneself.
    """
    if command.kind.move is Move.ADD_CALL_NOTE:
        _check_partner(session, access, command.answers["with_whom"])
    words = {each.name for each in command.kind.asked if each.is_words}
    facts = {
        name: value.isoformat() if isinstance(value, date) else value
        for name, value in command.answers.items()
        if name not in words and value is not None
    }
    texts = {name: command.answers.get(name) for name in words}
    return append(
        session, access, NewEntry(command.kind.move, command.happened_on, facts, texts), now
    )


def _check_partner(session: Session, access: CaseAccess, partner: str) -> None:
    """Refuse a call with one's own part of the case, unless somebody else has it too."""
    others = {
        member.role
        for member, person, _organisation in people_on(session, access.case_id)
        if person.id != access.actor_id
    }
    if partner in access.roles and partner not in others:
        fault = f"You are the {partner} here; say who was at the other end."
        raise Invalid("Say who was at the other end.", {"with_whom": [fault]})


def was_with(note: Note, access: CaseAccess) -> bool:
    """Return whether a call was with this person's part of the case, by its note."""
    return note.facts.get("with_whom") in access.roles and note.entry.actor_id != access.actor_id


def confirm_call(
    session: Session, access: CaseAccess, call_id: UUID, on: date, now: datetime
) -> None:
    """Confirm a call note of the other side's.

    Raises
    ------
    NotFound
        If this case has no such call note.
    NotAllowed
        If it is one's own note, or of a call with somebody else.
    Invalid
        If it is confirmed already.
    """
    access.check_role(Move.CONFIRM_CALL_NOTE)
    entries = entries_of(session, access.case_id)
    calls = {each.entry.id: each for each in calls_in(entries, {})}
    note = calls.get(call_id)
    if note is None:
        raise NotFound("There is no such call note on this case.")
    if not was_with(note, access):
        raise NotAllowed("Whoever was at the other end confirms a call note.")
    if note.confirmed_by is not None:
        raise Invalid("This call note is confirmed already.")
    facts = {"call": str(call_id)}
    append(session, access, NewEntry(Move.CONFIRM_CALL_NOTE, on, facts, {}, call_id), now)


def calls_in(entries: Iterable[Entry], texts: Texts) -> tuple[Note, ...]:
    """Return the call notes among a case's entries, in their order, with who confirmed each."""
    all_of_them = tuple(entries)
    confirmed = {
        entry.reference: entry.actor_id
        for entry in all_of_them
        if entry.kind == Move.CONFIRM_CALL_NOTE.value
    }
    notes = notes_in(all_of_them, texts, Move.ADD_CALL_NOTE)
    return tuple(Note(each.entry, each.texts, confirmed.get(each.entry.id)) for each in notes)


def notes_of(session: Session, case_id: UUID, move: Move) -> tuple[Note, ...]:
    """Return the case's notes of one kind, newest first."""
    entries = _entries(session, case_id, move)
    return notes_in(entries, texts_of(session, entries), move)


def notes_in(entries: Iterable[Entry], texts: Texts, move: Move) -> tuple[Note, ...]:
    """Return the notes of one kind among a case's entries, in their order."""
    return tuple(
        Note(entry, texts.get(entry.id, {})) for entry in entries if entry.kind == move.value
    )


RECENT_DAYS = 14
"""How long a medication note counts where nothing says when it wears off."""


def hides_pain(note: Note, on: date) -> bool:
    """Return whether what a medication note says was given may hide pain on a day."""
    given, until = note.entry.happened_on, note.facts.get("wears_off_on")
    if on < given:
        return False
    return on <= date.fromisoformat(until) if until else (on - given).days <= RECENT_DAYS


def _entries(session: Session, case_id: UUID, move: Move) -> Sequence[Entry]:
    return session.scalars(
        select(Entry)
        .where(Entry.case_id == case_id, Entry.kind == move.value)
        .order_by(Entry.happened_on.desc(), Entry.seq.desc())
    ).all()
