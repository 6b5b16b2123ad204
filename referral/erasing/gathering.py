"""What would go if something were erased, and what would stay and where; nothing is changed."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.assessments.choices import PHOTO_SUBJECTS
from referral.assessments.models import AssessmentPhoto
from referral.cases.erasures import erased_at, when_erased
from referral.cases.models import Entry, ErasableValue
from referral.cases.words import entry_says
from referral.core.moves import ABOUT_THE_RECORD
from referral.core.workflow import Move
from referral.erasing.drafts import drafts_within
from referral.erasing.files import Named, files_of, used_beside
from referral.erasing.words import copies_of
from referral.errors import Invalid, NotFound
from referral.films.intake import is_film, upload_of
from referral.films.models import Film, ReadingSet
from referral.sheets.models import Sheet, SheetProposal
from referral.sheets.queries import sheet_of
from referral.sheets.snapshot import TITLES, SheetKind
from referral.storage.blobs import BlobStore
from referral.web.written import day

WORDS, FILM, PHOTO, SHEET = "words", "film", "photo", "sheet"
BEING_READ = "This file is still being read; try again in a moment."
BACKUPS = "Copies that people took, and backups made before now, are out of reach."
ENTRY_STAYS = "The entry stays: its day, who wrote it, its closed answers, the hash of the words."
NUMBERS_STAY = (
    "Its scale, its landmarks and its readings (sets of them: {}) stay as numbers of the record; "
    "nobody can measure it again."
)
COPIES_TOLD = (
    "Who signed it and when stays, and the hashes of its files: whoever still has a copy is told "
    "that it was issued here, and when it was erased."
)
KEPT_WHY = "This entry says why; that stays in the record."
ADDRESS = (
    "This entry holds only the address that somebody was asked by: take what they were asked back, "
    "or mend the horse’s owner."
)


@dataclass(frozen=True, slots=True)
class FileGoing:
    """A file of what is erased: its hash, its size, and whether anything else uses it."""

    says: str
    digest: str
    size_bytes: int | None
    is_kept: bool


@dataclass(frozen=True, slots=True)
class Going:
    """What goes: ``words`` are field and text, ``places`` the columns that hold them besides.

    ``stays`` says in sentences what is left, and where what was erased can still be read.
    """

    what: str
    subject_id: UUID
    said: str
    words: tuple[tuple[str, str], ...]
    places: tuple[str, ...]
    files: tuple[FileGoing, ...]
    drafts: int
    stays: tuple[str, ...]


def what_goes(
    session: Session, case_id: UUID, blobs: BlobStore, what: str, subject_id: UUID
) -> Going:
    """Return what erasing this would take away.

    Raises
    ------
    NotFound
        If the case has nothing of that kind under this id.
    Invalid
        If it was erased already, or there is nothing to erase; says why.
    """
    going = GATHERED[what](session, case_id, blobs, subject_id)
    erased = when_erased(session, subject_id)
    if erased is not None:
        raise Invalid(f"This was erased already, on {day(erased)}.")
    return going


def _words(session: Session, case_id: UUID, blobs: BlobStore, entry_id: UUID) -> Going:
    entry = session.scalars(
        select(Entry).where(Entry.case_id == case_id, Entry.id == entry_id)
    ).one_or_none()
    if entry is None:
        raise NotFound("There is no such entry on this case.")
    if Move(entry.kind) in ABOUT_THE_RECORD:
        raise Invalid(KEPT_WHY)
    if Move(entry.kind) is Move.INVITE:
        raise Invalid(ADDRESS)
    values = session.scalars(select(ErasableValue).where(ErasableValue.entry_id == entry_id))
    beside = list(copies_of(session, entry))
    words = [(each.field, each.value) for each in values if each.value]
    known = {text for _field, text in words}
    words += [(place.partition(".")[2], text) for place, text in beside if text not in known]
    if not words:
        raise Invalid("There are no words in this entry.")
    texts = tuple(text for _field, text in words)
    return Going(
        what=WORDS,
        subject_id=entry.id,
        said=f"the words of entry {entry.seq}: {entry_says(entry.kind, entry.content)}",
        words=tuple(words),
        places=tuple(sorted({"erasable_value.value", *(place for place, _text in beside)})),
        files=(),
        drafts=_drafts(session, case_id),
        stays=(
            *_printed_on(session, case_id, blobs, texts, "May be printed"),
            ENTRY_STAYS,
            BACKUPS,
        ),
    )


def _film(session: Session, case_id: UUID, blobs: BlobStore, film_id: UUID) -> Going:
    if is_film(session, case_id, film_id):
        film = session.get_one(Film, film_id)
        name = "photo" if film.view.endswith("_photo") else "film"
        said = f"a {name} of {film.limb}, taken {day(film.taken_on)}"
        printed: tuple[str, ...] = _printed_on(
            session, case_id, blobs, (film.picture_sha256,), "Also printed"
        )
        sets = select(func.count(ReadingSet.id)).where(ReadingSet.film_id == film_id)
        numbers = NUMBERS_STAY.format(session.scalar(sets))
    else:
        upload = upload_of(session, case_id, film_id)
        if upload.refused_at is None:
            raise Invalid(BEING_READ)
        said = f"a file that could not be read, sent {day(upload.added_at)}"
        printed, numbers = (), "Nothing was read off it."
    return Going(
        what=FILM,
        subject_id=film_id,
        said=said,
        words=(),
        places=("film.original_name", "upload.original_name"),
        files=_files(session, blobs, files_of(session, film_id), film_id),
        drafts=_drafts(session, case_id),
        stays=(*printed, numbers, "The hashes of the files stay.", BACKUPS),
    )


def _photo(session: Session, case_id: UUID, blobs: BlobStore, photo_id: UUID) -> Going:
    photo = session.scalars(
        select(AssessmentPhoto).where(
            AssessmentPhoto.case_id == case_id, AssessmentPhoto.id == photo_id
        )
    ).one_or_none()
    if photo is None:
        raise NotFound("There is no such photo on this case.")
    if photo.picture_sha256 is None and photo.refusal is None:
        raise Invalid(BEING_READ)
    of = dict(PHOTO_SUBJECTS).get(photo.about, photo.about)
    return Going(
        what=PHOTO,
        subject_id=photo_id,
        said=f"a photo of an assessment, “{of}”, of {day(photo.added_at)}",
        words=(),
        places=("assessment_photo.original_name",),
        files=_files(session, blobs, files_of(session, photo_id), photo_id),
        drafts=_drafts(session, case_id),
        stays=("What was seen stays in the assessment.", "The hashes of the files stay.", BACKUPS),
    )


def _sheet(session: Session, case_id: UUID, blobs: BlobStore, sheet_id: UUID) -> Going:
    view = sheet_of(session, case_id, sheet_id)
    title = TITLES[SheetKind(view.kind)]
    named = files_of(session, sheet_id)
    drafts = [
        Named("the sheet before it was signed", case_id, sheet_id, digest, None)
        for digest in drafts_within(blobs, [each.digest for each in named])
    ]
    return Going(
        what=SHEET,
        subject_id=sheet_id,
        said=f"the signed sheet “{title}” of {day(view.made_at)}",
        words=(),
        places=(),
        files=_files(session, blobs, [*named, *drafts], sheet_id),
        drafts=_drafts(session, case_id),
        stays=(
            COPIES_TOLD,
            "The words, readings and films that it was made from stay in the record.",
            BACKUPS,
        ),
    )


GATHERED: Mapping[str, Callable[[Session, UUID, BlobStore, UUID], Going]] = {
    WORDS: _words,
    FILM: _film,
    PHOTO: _photo,
    SHEET: _sheet,
}
"""What can be erased, and how what would go is found."""


def _files(
    session: Session, blobs: BlobStore, named: Sequence[Named], subject_id: UUID
) -> tuple[FileGoing, ...]:
    """Return each file once, as it is named first."""
    first = {each.digest: each.says for each in reversed(named)}
    kept = used_beside(session, subject_id, first)
    return tuple(
        FileGoing(_plainly(says), digest, blobs.size_of(digest), digest in kept)
        for digest, says in sorted(first.items(), key=lambda each: (each[1], each[0]))
    )


def _plainly(says: str) -> str:
    """Return what a file is where its film or sheet is not named by its id."""
    plain = says.removesuffix(" as")
    return plain.replace(" of film", " of the film").replace(" of sheet", " of the sheet")


def _drafts(session: Session, case_id: UUID) -> int:
    waiting = select(func.count(SheetProposal.id)).where(SheetProposal.case_id == case_id)
    return session.scalar(waiting) or 0


def _printed_on(
    session: Session, case_id: UUID, blobs: BlobStore, texts: Sequence[str], how: str
) -> tuple[str, ...]:
    """Return which sheets of the case have one of these texts in their content."""
    sheets = session.scalars(
        select(Sheet)
        .where(Sheet.case_id == case_id, erased_at(Sheet.id).is_(None))
        .order_by(Sheet.made_at)
    )
    return tuple(
        f"{how} on the signed sheet “{TITLES[SheetKind(sheet.kind)]}” of {day(sheet.made_at)} "
        f"({sheet.id}), which is not erased by this."
        for sheet in sheets
        if _holds(blobs, sheet.snapshot_sha256, texts)
    )


def _holds(blobs: BlobStore, snapshot_sha256: str, texts: Sequence[str]) -> bool:
    try:
        content = json.loads(blobs.get(snapshot_sha256))
    except NotFound:
        return False
    return any(text in string for string in _strings(content) for text in texts)


def _strings(value: Any) -> Iterator[str]:  # noqa: ANN401 - any JSON value
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _strings(inner)
