"""Which rows name which files: a file stays while a row that was not erased names it."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import InstrumentedAttribute, Session

from referral.assessments.models import AssessmentPhoto
from referral.cases.erasures import erased_at
from referral.films.models import Film, Upload
from referral.sheets.models import Sheet, SheetProposal, Signature

Column = InstrumentedAttribute[Any]


@dataclass(frozen=True, slots=True)
class Naming:
    """A column that names files: what they are, and what of a case they belong to."""

    says: str
    case: Column
    subject: Column
    digest: Column

    def rows(self) -> Any:  # noqa: ANN401 - a query of the library's
        """Return the query for case, subject, file, and when the subject was erased."""
        found = select(self.case, self.subject, self.digest, erased_at(self.subject))
        if self.digest.class_ is not self.subject.class_:
            found = found.join(Sheet, Sheet.id == Signature.sheet_id)
        return found.where(self.digest.is_not(None))


NAMINGS = (
    Naming("the original of film", Film.case_id, Film.id, Film.original_sha256),
    Naming("the picture of film", Film.case_id, Film.id, Film.picture_sha256),
    Naming("the file that was sent as", Upload.case_id, Upload.id, Upload.original_sha256),
    Naming(
        "the photo of an assessment",
        AssessmentPhoto.case_id,
        AssessmentPhoto.id,
        AssessmentPhoto.original_sha256,
    ),
    Naming(
        "the picture of an assessment’s photo",
        AssessmentPhoto.case_id,
        AssessmentPhoto.id,
        AssessmentPhoto.picture_sha256,
    ),
    Naming("the content of sheet", Sheet.case_id, Sheet.id, Sheet.snapshot_sha256),
    Naming("a signed state of sheet", Sheet.case_id, Sheet.id, Signature.pdf_sha256),
    Naming(
        "the content of a sheet to be signed",
        SheetProposal.case_id,
        SheetProposal.id,
        SheetProposal.snapshot_sha256,
    ),
    Naming(
        "a sheet to be signed", SheetProposal.case_id, SheetProposal.id, SheetProposal.pdf_sha256
    ),
)
"""Every column of the database that names a file of the store."""


@dataclass(frozen=True, slots=True)
class Named:
    """A file as one row names it; ``erased`` is when what the row is about was erased."""

    says: str
    case_id: UUID
    subject_id: UUID
    digest: str
    erased: datetime | None


def named_files(session: Session) -> Iterator[Named]:
    """Yield every file that a row names, once for each row."""
    for naming in NAMINGS:
        for row in session.execute(naming.rows()):
            yield Named(naming.says, *row)


def files_of(session: Session, subject_id: UUID) -> tuple[Named, ...]:
    """Return the files that belong to one film or sheet."""
    return tuple(
        Named(naming.says, *row)
        for naming in NAMINGS
        for row in session.execute(naming.rows().where(naming.subject == subject_id))
    )


def used_beside(session: Session, subject_id: UUID, digests: Collection[str]) -> frozenset[str]:
    """Return which of these files something else names that was not erased."""
    return frozenset(
        row[2]
        for naming in NAMINGS
        for row in session.execute(
            naming.rows().where(naming.digest.in_(digests), naming.subject != subject_id)
        )
        if row[3] is None
    )


def wanted_files(session: Session) -> frozenset[str]:
    """Return every file that a row names whose subject was not erased."""
    return frozenset(each.digest for each in named_files(session) if each.erased is None)
