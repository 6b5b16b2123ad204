"""Reads on assessments, always inside a case that the actor may see."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from referral.assessments.models import Assessment, AssessmentPhoto
from referral.cases.erasures import erased_at, refuse_erased, when_erased
from referral.core.measure.external import GUIDES, external_guides
from referral.core.measure.readings import Measured, Reading
from referral.errors import NotFound
from referral.films.models import Film
from referral.films.queries import pictures_of, reading_sets
from referral.storage.together import CaseId


@dataclass(frozen=True, slots=True)
class Compared:
    """A reading of a film, and what the foot itself says from outside."""

    film: Reading | None
    outside: Reading


@dataclass(frozen=True, slots=True)
class AssessmentView:
    """An assessment, what was measured beside the film, its photos and the measured ones.

    ``erased`` is of each photo that was erased what it showed, and when.
    """

    row: Assessment
    measured: Measured
    compared: tuple[Compared, ...]
    films: tuple[Film, ...]
    photos: tuple[AssessmentPhoto, ...]
    erased: tuple[tuple[str, datetime], ...]


def assessments_of(session: Session, case_id: UUID) -> Sequence[Assessment]:
    """Return the case's assessments, newest first."""
    return session.scalars(select_assessments(case_id)).all()


def select_assessments(case_id: CaseId) -> Select[Assessment]:
    """Return the query for the case's assessments, newest first."""
    return (
        select(Assessment)
        .where(Assessment.case_id == case_id)
        .order_by(Assessment.seen_on.desc(), Assessment.id.desc())
    )


def assessment_of(session: Session, case_id: UUID, assessment_id: UUID) -> AssessmentView:
    """Return one assessment of this case with everything that is shown beside it.

    Raises
    ------
    NotFound
        If this case has no such assessment.
    """
    row = assessment_row(session, case_id, assessment_id)
    own, films = Measured(), []
    for reading_set, measured in reading_sets(session, case_id, row.limb):
        if reading_set.id == row.reading_set_id:
            own = measured
        elif any(each.basis == "film" for each in measured.readings.values()):
            films.append((abs((reading_set.taken_on - row.seen_on).days), measured))
    film = min(films, key=lambda each: each[0])[1] if films else Measured()
    outside = tuple(
        each
        for each in pictures_of(session, case_id)
        if each.limb == row.limb and each.taken_on == row.seen_on and each.view.endswith("_photo")
    )
    taken = session.execute(
        select(AssessmentPhoto, erased_at(AssessmentPhoto.id))
        .where(AssessmentPhoto.assessment_id == row.id)
        .order_by(AssessmentPhoto.added_at, AssessmentPhoto.id)
    ).all()
    photos = tuple(photo for photo, erased in taken if erased is None)
    gone = tuple((photo.about, erased) for photo, erased in taken if erased is not None)
    return AssessmentView(row, own, compared(film, own), outside, photos, gone)


def assessment_row(session: Session, case_id: UUID, assessment_id: UUID) -> Assessment:
    """Return one assessment of this case.

    Raises
    ------
    NotFound
        If this case has no such assessment.
    """
    row = session.scalars(
        select(Assessment).where(Assessment.case_id == case_id, Assessment.id == assessment_id)
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such assessment on this case.")
    return row


def photo_of(session: Session, case_id: UUID, photo_id: UUID) -> str:
    """Return the SHA-256 of the picture of one photo of this case's assessments.

    Raises
    ------
    NotFound
        If this case has none, it has not been read, or it was erased.
    """
    found = session.scalar(
        select(AssessmentPhoto.picture_sha256).where(
            AssessmentPhoto.case_id == case_id, AssessmentPhoto.id == photo_id
        )
    )
    if found is None:
        raise NotFound("There is no such photo on this case.")
    refuse_erased(when_erased(session, photo_id), "photo")
    return found


def photos_to_show(session: Session, case_id: UUID) -> Sequence[AssessmentPhoto]:
    """Return the photos of this case's assessments that have been read."""
    return session.scalars(select_photos(case_id)).all()


def select_photos(case_id: CaseId) -> Select[AssessmentPhoto]:
    """Return the query for the photos of this case's assessments that have been read."""
    return select(AssessmentPhoto).where(
        AssessmentPhoto.case_id == case_id,
        AssessmentPhoto.picture_sha256.is_not(None),
        erased_at(AssessmentPhoto.id).is_(None),
    )


def compared(film: Measured, own: Measured) -> tuple[Compared, ...]:
    """Return each reading taken outside with the film's reading that it guides to, if any."""
    stands_for = {guide: code for code, guide in GUIDES.items()}
    pairs = tuple(
        Compared(film.readings.get(stands_for.get(code, "")), reading)
        for code, reading in own.readings.items()
    )
    unseen = {guide.reading.code for guide in external_guides(film, [own])}
    return tuple(sorted(pairs, key=lambda each: each.outside.code in unseen))
