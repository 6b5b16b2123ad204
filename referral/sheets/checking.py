"""Whether the record is whole: every chain of entries, every file that a row names."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from referral.assessments.models import AssessmentPhoto
from referral.cases.models import Case, Entry
from referral.cases.timeline import chain_faults
from referral.films.models import Film, Upload
from referral.sheets.models import Sheet, Signature
from referral.storage.blobs import BlobStore

_FILM = select(Film.case_id, Film.id)
_SHEET = select(Sheet.case_id, Sheet.id)
NAMED_FILES: Mapping[str, tuple[Any, ColumnElement[str] | Any]] = {
    "the original of film": (_FILM, Film.original_sha256),
    "the file that was sent as": (select(Upload.case_id, Upload.id), Upload.original_sha256),
    "the picture of film": (_FILM, Film.picture_sha256),
    "the photo of an assessment": (
        select(AssessmentPhoto.case_id, AssessmentPhoto.id),
        AssessmentPhoto.original_sha256,
    ),
    "the content of sheet": (_SHEET, Sheet.snapshot_sha256),
    "a signed state of sheet": (
        _SHEET.join(Signature, Signature.sheet_id == Sheet.id),
        Signature.pdf_sha256,
    ),
}
"""What each file is, to the rows that name it and the column with its SHA-256."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What was walked, and one sentence for everything that is wrong."""

    cases: int
    entries: int
    files: int
    faults: tuple[str, ...]


def check_record(session: Session, blobs: BlobStore) -> Checked:
    """Walk every chain and every named file."""
    numbers = dict(session.execute(select(Case.id, Case.number).order_by(Case.number)).all())
    faults = [
        f"case {number}: {fault}"
        for case_id, number in numbers.items()
        for fault in chain_faults(session, case_id)
    ]
    files = list(_named_files(session, numbers))
    faults.extend(_file_faults(blobs, files))
    entries = session.scalar(select(func.count()).select_from(Entry)) or 0
    return Checked(len(numbers), entries, len(files), tuple(faults))


def _named_files(session: Session, numbers: Mapping[Any, int]) -> Iterator[tuple[str, str]]:
    for what, (rows, column) in NAMED_FILES.items():
        for case_id, row_id, digest in session.execute(rows.add_columns(column)):
            yield f"case {numbers.get(case_id)}: {what} {row_id}", digest


def _file_faults(blobs: BlobStore, files: Sequence[tuple[str, str]]) -> Iterator[str]:
    for what, digest in files:
        if not blobs.is_whole(digest):
            yield f"{what} is missing or was changed (file {digest})"
