"""The timeline: append one entry to its chain, and check that a chain is whole.

An entry's hash covers the case, its number, kind, actor, dates, the hash before
it and its content. Free text stands in the content only as a salted hash; text
and salt lie in a row of their own that can be erased without breaking the chain.
"""

import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Case, CaseMember, Entry, ErasableValue
from referral.cases.offices import office_people
from referral.cases.queries import case_for
from referral.clock import day_at
from referral.core.diary import Dated
from referral.core.workflow import LAWS, Happening, Move, after, on_day
from referral.errors import OutOfDate
from referral.notices.policy import offices_told
from referral.notices.service import Happened, tell
from referral.storage.canonical import canonical_json, rounded, sha256_hex
from referral.storage.ids import new_id
from referral.storage.together import CaseId, Rows

GENESIS = "0" * 64
SALT_BYTES = 32
TOLD_TO_ALL = frozenset(
    {
        Move.RAISE_FLAG.value,
        Move.ANSWER_FLAG.value,
        Move.CLOSE.value,
        Move.ERASE.value,
        Move.TAKE_UP.value,
        Move.TURN_DOWN.value,
        Move.CORRECT_OWNER.value,
    }
)
"""What everybody on the case is told of; of the rest, whoever's turn it is then."""


@dataclass(frozen=True, slots=True)
class NewEntry:
    """What is to be written: the move, the day it happened, facts, and erasable texts.

    ``based_on`` is the revision the writer had on screen; None for what never conflicts.
    ``also_tell`` are people to be told whoever's turn it is, if they are on the case.
    """

    move: Move
    happened_on: date
    facts: Mapping[str, Any] = field(default_factory=dict)
    texts: Mapping[str, str | None] = field(default_factory=dict)
    reference: UUID | None = None
    based_on: int | None = None
    also_tell: frozenset[UUID] = frozenset()


def digest(content: Any) -> str:  # noqa: ANN401 - any JSON value
    """Return the SHA-256 of a content's canonical text."""
    return sha256_hex(canonical_json(content))


def ground_facts(part: str, before: str, after: str) -> dict[str, Any]:
    """Return the facts that say of an entry which part of a plan's ground it changed, and how."""
    change = {"part": part, "before": before, "after": after}
    return {"changes_basis": True, "ground": change}


def append(session: Session, access: CaseAccess, new: NewEntry, now: datetime) -> Entry:
    """Append one entry to the case's chain and tell those whose turn it becomes.

    Raises
    ------
    NotAllowed
        If the person's role may not make the move.
    WrongState
        If the case is not at that point.
    OutOfDate
        If somebody made another move since the writer's page was opened.
    """
    access = locked(session, access, now)
    role = access.role_for(new.move)
    _refuse_stale(session, access, new)
    previous = session.scalars(
        select(Entry).where(Entry.case_id == access.case_id).order_by(Entry.seq.desc()).limit(1)
    ).one_or_none()
    entry = Entry(
        id=new_id(now),
        case_id=access.case_id,
        seq=previous.seq + 1 if previous else 1,
        kind=new.move.value,
        actor_id=access.actor_id,
        actor_role=role.value,
        happened_on=new.happened_on,
        recorded_at=now,
        reference=new.reference,
        content=dict(rounded(new.facts)),
        previous_hash=previous.hash if previous else GENESIS,
        hash="",
    )
    values = _erasable(entry, new.texts, now)
    entry.hash = entry_hash(entry)
    session.add(entry)
    session.flush()
    session.add_all(values)
    _tell(session, access, entry, new.also_tell, now)
    return entry


def locked(session: Session, access: CaseAccess, now: datetime) -> CaseAccess:
    """Return the case as it is now, kept from changing until this transaction ends."""
    case = select(Case.id).where(Case.id == access.case_id)
    # not the stronger lock: rows that name the case may stand in both transactions already
    session.scalars(case.with_for_update(key_share=True)).one()
    return case_for(session, access.actor_id, access.number, now)


def _refuse_stale(session: Session, access: CaseAccess, new: NewEntry) -> None:
    if new.based_on is None or new.based_on >= access.revision:
        return
    kinds = session.scalars(
        select(Entry.kind).where(Entry.case_id == access.case_id, Entry.seq > new.based_on)
    ).all()
    if any(LAWS[Move(kind)].leads_to for kind in kinds):
        raise OutOfDate


def _erasable(entry: Entry, texts: Mapping[str, str | None], now: datetime) -> list[ErasableValue]:
    rows = []
    for name, text in sorted(texts.items()):
        if not text:
            continue
        salt = secrets.token_bytes(SALT_BYTES)
        entry.content[name] = {"sha256": sha256_hex(salt + text.encode())}
        rows.append(
            ErasableValue(
                id=new_id(now), entry_id=entry.id, field=name, salt=salt.hex(), value=text
            )
        )
    return rows


def entry_hash(entry: Entry) -> str:
    """Return the hash that an entry must carry."""
    return sha256_hex(
        canonical_json(
            {
                "case": str(entry.case_id),
                "seq": entry.seq,
                "kind": entry.kind,
                "actor": str(entry.actor_id),
                "role": entry.actor_role,
                "happened_on": entry.happened_on.isoformat(),
                "recorded_at": entry.recorded_at.astimezone(UTC).isoformat(timespec="microseconds"),
                "reference": str(entry.reference) if entry.reference else None,
                "previous": entry.previous_hash,
                "content": entry.content,
            }
        )
    )


def _tell(
    session: Session, access: CaseAccess, entry: Entry, also: frozenset[UUID], now: datetime
) -> None:
    happening = Happening(entry.kind, entry.actor_role, entry.content)
    state = on_day(after(access.state, happening), day_at(now, access.zone))
    rows = session.execute(
        select(CaseMember.person_id, CaseMember.role).where(
            CaseMember.case_id == access.case_id, CaseMember.until.is_(None)
        )
    ).all()
    everybody = entry.kind in TOLD_TO_ALL
    told = {
        person_id
        for person_id, role in rows
        if person_id != access.actor_id and (everybody or role == state.turn or person_id in also)
    }
    if offices := offices_told(entry.kind):
        told |= office_people(session, access.case_id, offices) - {access.actor_id}
    tell(session, told, Happened(access.case_id, entry.kind, entry.id), now)


def chain_faults(session: Session, case_id: UUID) -> Iterator[str]:
    """Yield one sentence for everything that is wrong with a case's chain."""
    entries = session.scalars(
        select(Entry).where(Entry.case_id == case_id).order_by(Entry.seq)
    ).all()
    previous = GENESIS
    for place, entry in enumerate(entries, start=1):
        if entry.seq != place:
            yield f"entry {place} is missing; entry {entry.seq} stands in its place"
            return
        if entry.previous_hash != previous:
            yield f"entry {entry.seq} does not follow the entry before it"
        if entry_hash(entry) != entry.hash:
            yield f"entry {entry.seq} ({entry.kind}) was changed after it was written"
        yield from _value_faults(session, entry)
        previous = entry.hash


def _value_faults(session: Session, entry: Entry) -> Iterator[str]:
    values = session.scalars(select(ErasableValue).where(ErasableValue.entry_id == entry.id))
    for row in values:
        if row.erased_at or row.salt is None or row.value is None:
            continue
        if entry.content.get(row.field) != {
            "sha256": sha256_hex(bytes.fromhex(row.salt) + row.value.encode())
        }:
            yield f"entry {entry.seq}: the text of '{row.field}' was changed after it was written"


def texts_of(session: Session, entries: Sequence[Entry]) -> Mapping[UUID, Mapping[str, str]]:
    """Return the readable texts of entries that have not been erased, by entry."""
    ids = [entry.id for entry in entries]
    return by_entry(session.scalars(select(ErasableValue).where(ErasableValue.entry_id.in_(ids))))


def by_entry(rows: Iterable[ErasableValue]) -> Mapping[UUID, Mapping[str, str]]:
    """Return readable texts by the entry that they belong to."""
    found: dict[UUID, dict[str, str]] = {}
    for row in rows:
        found.setdefault(row.entry_id, {})[row.field] = row.value or "(erased)"
    return found


def select_texts(entries: Rows) -> Rows:
    """Return the query for the texts of the entries that another query finds by their ids."""
    return select(ErasableValue.entry_id, ErasableValue.field, ErasableValue.value).where(
        ErasableValue.entry_id.in_(entries)
    )


def history_of(entries: Sequence[Entry]) -> list[Dated]:
    """Return what happened as states and dates see it, in the order it was entered."""
    return [
        Dated(Happening(each.kind, each.actor_role, each.content), each.happened_on)
        for each in sorted(entries, key=lambda each: each.seq)
    ]


def entries_of(session: Session, case_id: UUID) -> Sequence[Entry]:
    """Return a case's entries, latest happening first; late ones stand where they happened."""
    return session.scalars(select_entries(case_id)).all()


def select_entries(case_id: CaseId) -> Select[Entry]:
    """Return the query for a case's entries, latest happening first."""
    return (
        select(Entry)
        .where(Entry.case_id == case_id)
        .order_by(Entry.happened_on.desc(), Entry.seq.desc())
    )
