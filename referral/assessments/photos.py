"""Photos of what an assessment saw: taken in without their metadata, then read by the worker."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import update
from sqlalchemy.orm import Session

from referral.assessments.models import Assessment, AssessmentPhoto
from referral.assessments.queries import assessment_row
from referral.cases.access import CaseAccess
from referral.cases.timeline import NewEntry, append
from referral.core.workflow import Move
from referral.errors import Invalid, NotFound, TooLarge
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.decode.film import read_apart
from referral.storage.decode.sniff import kind_of
from referral.storage.decode.stripped import CannotStrip, turn_in, without_metadata
from referral.storage.ids import new_id
from referral.storage.jobs import Finish, Handler, enqueue

READ_PHOTO = "read_assessment_photo"
MOST_AT_ONCE = 12
TAKEN = (
    "Photos of an assessment are JPEG, PNG or WebP pictures: of others it cannot be taken out "
    "where they were taken."
)
GAVE_UP = "This photo could not be read, however often it was tried."


@dataclass(frozen=True, slots=True)
class SentPhoto:
    """A photo as it came, and the name it had."""

    data: bytes
    name: str


@dataclass(frozen=True, slots=True)
class AddPhotos:
    """Photos of one observation of an assessment."""

    assessment_id: UUID
    about: str
    photos: Sequence[SentPhoto]
    happened_on: date


def bare(data: bytes) -> bytes:
    """Return a photo's file with its picture as it is coded, and nothing of place or camera.

    Raises
    ------
    Invalid
        If it is no picture of a kind that can be freed of that; says which are.
    """
    kind = kind_of(data)
    try:
        return without_metadata(data, kind, turn_in(data, kind))
    except CannotStrip as error:
        raise Invalid(TAKEN) from error


def add_photos(
    session: Session, access: CaseAccess, blobs: BlobStore, command: AddPhotos, now: datetime
) -> None:
    """Keep photos of one observation, each without its metadata, and have them read.

    Raises
    ------
    Invalid
        If there is none, or too many, or one is of no kind that is taken; names it.
    NotFound
        If this case has no such assessment.
    NotAllowed, WrongState
        If this person may not add photos, or not now.
    """
    row = assessment_row(session, access.case_id, command.assessment_id)
    if not command.photos:
        raise _fault("Choose at least one photo.")
    if len(command.photos) > MOST_AT_ONCE:
        raise _fault(f"At most {MOST_AT_ONCE} photos at once; send the rest after them.")
    kept = [_kept(session, access, blobs, row, command.about, each, now) for each in command.photos]
    session.flush()
    for each in kept:
        enqueue(session, READ_PHOTO, {"photo": str(each.id)}, now)
    facts = {
        "limb": row.limb,
        "assessment": str(row.id),
        "of": command.about,
        "photos": [{"photo": str(each.id), "sha256": each.original_sha256} for each in kept],
    }
    append(session, access, NewEntry(Move.ADD_PHOTO, command.happened_on, facts, {}, row.id), now)


def _kept(
    session: Session,
    access: CaseAccess,
    blobs: BlobStore,
    row: Assessment,
    about: str,
    sent: SentPhoto,
    now: datetime,
) -> AssessmentPhoto:
    try:
        data = bare(sent.data)
    except Invalid as error:
        raise _fault(f"{sent.name}: {error.message}") from error
    photo = AssessmentPhoto(
        id=new_id(now),
        case_id=access.case_id,
        assessment_id=row.id,
        about=about,
        original_sha256=blobs.put(data),
        original_name=sent.name,
        added_by=access.actor_id,
        added_at=now,
    )
    session.add(photo)
    return photo


def _fault(sentence: str) -> Invalid:
    return Invalid(sentence, {"photos": [sentence]})


def photo_reader(database: Database, blobs: BlobStore) -> Handler:
    """Return how the worker reads a photo of an assessment."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        photo_id = UUID(payload["photo"])
        with database.reading() as session:
            photo = session.get_one(AssessmentPhoto, photo_id)
        try:
            read = read_apart(blobs.get(photo.original_sha256), photo.original_name)
        except (Invalid, TooLarge, NotFound) as error:
            return _settle(photo_id, refusal=error.message)
        return _settle(photo_id, picture_sha256=blobs.put(read.picture_jpeg))

    def give_up(payload: Mapping[str, Any]) -> Finish:
        return _settle(UUID(payload["photo"]), refusal=GAVE_UP)

    return Handler(prepare, give_up)


def _settle(photo_id: UUID, **said: str) -> Finish:
    asked = update(AssessmentPhoto).where(AssessmentPhoto.id == photo_id).values(**said)

    def finish(session: Session) -> None:
        session.execute(asked)

    return finish
