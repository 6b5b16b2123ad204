"""What of a case can be erased, as its page lists it."""

from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.assessments.choices import PHOTO_SUBJECTS
from referral.assessments.models import AssessmentPhoto
from referral.cases.erasures import erased_at
from referral.cases.models import Entry, ErasableValue
from referral.cases.timeline import entries_of
from referral.cases.words import entry_says
from referral.core.moves import ABOUT_THE_RECORD
from referral.core.workflow import Move
from referral.erasing.gathering import FILM, PHOTO, SHEET, WORDS
from referral.films.models import Upload
from referral.films.queries import pictures_of
from referral.sheets.queries import sheets_of
from referral.sheets.snapshot import TITLES, SheetKind
from referral.web.written import day

KEPT = frozenset({Move.INVITE, *ABOUT_THE_RECORD})
"""Entries whose words stay."""


@dataclass(frozen=True, slots=True)
class Erasable:
    """One thing that can be erased."""

    what: str
    subject_id: UUID
    says: str


@dataclass(frozen=True, slots=True)
class Group:
    """Things of one kind that can be erased, the newest first."""

    title: str
    items: tuple[Erasable, ...]


def to_erase(session: Session, case_id: UUID) -> tuple[Group, ...]:
    """Return what of a case can be erased, by kind; kinds of which there is any."""
    groups = (
        Group("Films and photos", _films(session, case_id)),
        Group("Photos of assessments", _photos(session, case_id)),
        Group("Signed sheets", _sheets(session, case_id)),
        Group("Words of the timeline", _entries(session, case_id)),
    )
    return tuple(each for each in groups if each.items)


def _films(session: Session, case_id: UUID) -> tuple[Erasable, ...]:
    refused = session.scalars(
        select(Upload)
        .where(
            Upload.case_id == case_id,
            Upload.refused_at.is_not(None),
            erased_at(Upload.id).is_(None),
        )
        .order_by(Upload.added_at.desc())
    )
    return (
        *(
            Erasable(
                FILM, each.id, f"{each.limb}, {each.view.replace('_', ' ')}, {day(each.taken_on)}"
            )
            for each in pictures_of(session, case_id)
        ),
        *(
            Erasable(FILM, each.id, f"A file that could not be read, {day(each.added_at)}")
            for each in refused
        ),
    )


def _photos(session: Session, case_id: UUID) -> tuple[Erasable, ...]:
    says = dict(PHOTO_SUBJECTS)
    rows = session.scalars(
        select(AssessmentPhoto)
        .where(AssessmentPhoto.case_id == case_id, erased_at(AssessmentPhoto.id).is_(None))
        .order_by(AssessmentPhoto.added_at.desc())
    )
    return tuple(
        Erasable(PHOTO, each.id, f"{says.get(each.about, each.about)}, {day(each.added_at)}")
        for each in rows
    )


def _sheets(session: Session, case_id: UUID) -> tuple[Erasable, ...]:
    return tuple(
        Erasable(SHEET, each.sheet_id, f"{TITLES[SheetKind(each.kind)]}, {day(each.made_at)}")
        for each in sheets_of(session, case_id)
        if each.erased is None
    )


def _entries(session: Session, case_id: UUID) -> tuple[Erasable, ...]:
    with_words = set(
        session.scalars(
            select(ErasableValue.entry_id)
            .join(Entry, Entry.id == ErasableValue.entry_id)
            .where(Entry.case_id == case_id, ErasableValue.value.is_not(None))
        )
    )
    return tuple(
        Erasable(
            WORDS,
            each.id,
            f"Entry {each.seq}, {day(each.happened_on)}: {entry_says(each.kind, each.content)}",
        )
        for each in entries_of(session, case_id)
        if each.id in with_words and Move(each.kind) not in KEPT
    )
