"""Whether the record is whole: every chain of entries, every named file, every tombstone."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.cases.erasures import ERASED
from referral.cases.models import Case, Entry, ErasableValue, Erasure
from referral.cases.timeline import chain_faults
from referral.core.workflow import Move
from referral.erasing.files import Named, named_files
from referral.erasing.gathering import WORDS
from referral.erasing.words import copies_of
from referral.storage.blobs import BlobStore


@dataclass(frozen=True, slots=True)
class Checked:
    """What was walked, and one sentence for everything that is wrong.

    ``unnamed`` counts files that no row names: drafts that nobody signed, mostly.
    """

    cases: int
    entries: int
    files: int
    unnamed: int
    faults: tuple[str, ...]


Numbers = Mapping[UUID, int]


def check_record(session: Session, blobs: BlobStore) -> Checked:
    """Walk every chain, every named file and every tombstone."""
    numbers = dict(session.execute(select(Case.id, Case.number).order_by(Case.number)).all())
    faults = [
        f"case {number}: {fault}"
        for case_id, number in numbers.items()
        for fault in chain_faults(session, case_id)
    ]
    named = list(named_files(session))
    wanted = frozenset(each.digest for each in named if each.erased is None)
    faults.extend(_file_faults(blobs, named, numbers))
    faults.extend(_erasure_faults(session, blobs, wanted, numbers))
    entries = session.scalar(select(func.count()).select_from(Entry)) or 0
    files = [each for each in named if each.erased is None]
    unnamed = blobs.names() - {each.digest for each in named}
    return Checked(len(numbers), entries, len(files), len(unnamed), tuple(faults))


def _file_faults(blobs: BlobStore, named: Sequence[Named], numbers: Numbers) -> Iterator[str]:
    for each in named:
        if each.erased is None and not blobs.is_whole(each.digest):
            what = f"case {numbers.get(each.case_id)}: {each.says} {each.subject_id}"
            yield f"{what} is missing or was changed (file {each.digest})"


def _erasure_faults(
    session: Session, blobs: BlobStore, wanted: Collection[str], numbers: Numbers
) -> Iterator[str]:
    """Yield what is wrong with what was erased: left over, or not said in the timeline."""
    said: dict[UUID | None, dict[str, Any]] = dict(
        session.execute(
            select(Entry.reference, Entry.content).where(Entry.kind == Move.ERASE.value)
        ).all()
    )
    for row in session.scalars(select(Erasure).order_by(Erasure.erased_at)):
        what = f"case {numbers.get(row.case_id)}: {row.said}"
        entry = said.pop(row.id, None)
        if entry is None:
            yield f"{what} was erased, and no entry says so"
        elif (entry["subject"], entry["files"]) != (str(row.subject_id), row.files):
            yield f"{what} was erased, and its entry says something else"
        yield from (
            f"{what} was erased, and its file is still there: have the worker run (file {digest})"
            for digest in row.files
            if digest not in wanted and blobs.size_of(digest) is not None
        )
    for each in said.values():
        yield f"an entry says that {each['erased']} was erased, and nothing stands for it"
    yield from _word_faults(session)


def _word_faults(session: Session) -> Iterator[str]:
    """Yield which words were erased and are still there, or are gone and were not erased."""
    erased = select(Erasure.subject_id).where(Erasure.what == WORDS)
    unlike = session.execute(
        select(Case.number, Entry.seq, ErasableValue.field, ErasableValue.value)
        .join(Entry, Entry.id == ErasableValue.entry_id)
        .join(Case, Case.id == Entry.case_id)
        .where(ErasableValue.value.is_(None) != Entry.id.in_(erased))
        .order_by(Case.number, Entry.seq)
    )
    for number, seq, name, value in unlike:
        wrong = "were erased and are still there" if value else "are gone, and nobody erased them"
        yield f"case {number}: the words '{name}' of entry {seq} {wrong}"
    for entry, number in session.execute(
        select(Entry, Case.number).join(Case).where(Entry.id.in_(erased)).order_by(Case.number)
    ):
        yield from (
            f"case {number}: words of entry {entry.seq} were erased and still stand in {place}"
            for place, text in copies_of(session, entry)
            if text != ERASED
        )
