"""The verb that erases words, a film, a photo or a sheet; a tombstone and an entry stay."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import delete, update
from sqlalchemy.orm import Session

from referral.assessments.models import AssessmentPhoto
from referral.cases.access import CaseAccess
from referral.cases.holds import NO_WHY, check_keeper, hold_on
from referral.cases.models import Entry, ErasableValue, Erasure
from referral.cases.timeline import NewEntry, append, locked
from referral.core.workflow import Move, Stage
from referral.erasing.gathering import FILM, PHOTO, SHEET, WORDS, Going, what_goes
from referral.erasing.sweeping import sweep_soon
from referral.erasing.words import erase_copies
from referral.errors import Invalid, WrongState
from referral.films.models import Film, Upload
from referral.sheets.models import SheetProposal
from referral.sheets.queries import latest_sheet, sheet_of
from referral.storage.blobs import BlobStore
from referral.storage.ids import new_id

TO_BE_SIGNED = (
    "This sheet still waits for its second signature: it can be erased when it is signed, or when "
    "the case has gone on without it."
)


@dataclass(frozen=True, slots=True)
class Erase:
    """What is to be erased and why."""

    what: str
    subject_id: UUID
    why: str
    happened_on: date


def check_erasable(
    session: Session, access: CaseAccess, blobs: BlobStore, what: str, subject_id: UUID
) -> Going:
    """Return what would go if this person erased it now.

    Raises
    ------
    NotAllowed
        If this person may not erase anything of this case.
    WrongState
        If the case is under legal hold, or a sheet still waits to be signed.
    NotFound
        If the case has nothing of that kind under this id.
    Invalid
        If it was erased already, or there is nothing to erase.
    """
    check_keeper(session, access, Move.ERASE)
    going = what_goes(session, access.case_id, blobs, what, subject_id)
    held = hold_on(session, access.case_id)
    if held is not None:
        raise WrongState(f"{held.says}. Nothing of this case is erased until that is lifted.")
    if what == SHEET and _waits(session, access, subject_id):
        raise WrongState(TO_BE_SIGNED)
    return going


def _waits(session: Session, access: CaseAccess, sheet_id: UUID) -> bool:
    """Say whether the case waits for this very sheet's second signature."""
    view = sheet_of(session, access.case_id, sheet_id)
    if view.is_complete or access.state.stage not in (Stage.SIGNING, Stage.COUNTERSIGN):
        return False
    latest = latest_sheet(session, access.case_id, view.kind, plan_id=view.plan_id)
    return latest is not None and latest.sheet_id == sheet_id


def erase(
    session: Session, access: CaseAccess, blobs: BlobStore, command: Erase, now: datetime
) -> Going:
    """Erase something of a case for good; its files are deleted by the worker, after this.

    Drafts of sheets that wait to be signed go too: they may repeat what was erased.

    Raises
    ------
    NotAllowed, WrongState, NotFound, Invalid
        If it cannot be erased by this person now, or no reason is given.
    """
    access = locked(session, access, now)
    going = check_erasable(session, access, blobs, command.what, command.subject_id)
    if not command.why.strip():
        raise Invalid("Say why.", {"why": [NO_WHY]})
    ERASING[command.what](session, command.subject_id, now)
    session.execute(delete(SheetProposal).where(SheetProposal.case_id == access.case_id))
    digests = [each.digest for each in going.files]
    row = Erasure(
        id=new_id(now),
        case_id=access.case_id,
        what=command.what,
        subject_id=command.subject_id,
        said=going.said,
        files=digests,
        why=command.why,
        erased_by=access.actor_id,
        erased_at=now,
    )
    session.add(row)
    facts = {
        "what": command.what,
        "subject": str(command.subject_id),
        "erased": going.said,
        "files": digests,
    }
    texts = {"why": command.why}
    append(session, access, NewEntry(Move.ERASE, command.happened_on, facts, texts, row.id), now)
    sweep_soon(session, now)
    return going


def _erase_words(session: Session, entry_id: UUID, now: datetime) -> None:
    erase_copies(session, session.get_one(Entry, entry_id))
    session.execute(
        update(ErasableValue)
        .where(ErasableValue.entry_id == entry_id)
        .values(salt=None, value=None, erased_at=now)
    )


def _erase_film(session: Session, film_id: UUID, _now: datetime) -> None:
    """Take the file's own name away; its bytes go once the tombstone stands."""
    for table in (Film, Upload):
        session.execute(update(table).where(table.id == film_id).values(original_name=""))


def _erase_photo(session: Session, photo_id: UUID, _now: datetime) -> None:
    """Take the name that its file had away."""
    table = AssessmentPhoto
    session.execute(update(table).where(table.id == photo_id).values(original_name=""))


def _erase_sheet(_session: Session, _sheet_id: UUID, _now: datetime) -> None:
    """Change no row: a sheet is nothing but its files, which go once the tombstone stands."""


ERASING: Mapping[str, Callable[[Session, UUID, datetime], None]] = {
    WORDS: _erase_words,
    FILM: _erase_film,
    PHOTO: _erase_photo,
    SHEET: _erase_sheet,
}
