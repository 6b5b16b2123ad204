"""A file that was sent: kept as it came, read by the worker, then a film or a refusal."""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Case
from referral.cases.queries import case_for
from referral.errors import Invalid, NotAllowed, NotFound, ReferralError, TooLarge, WrongState
from referral.films.models import Film, Upload
from referral.films.service import AddFilm, TakenHow, add_film, move_of
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.decode.film import ReadFilm, read_apart
from referral.storage.decode.sniff import kind_of
from referral.storage.ids import new_id
from referral.storage.jobs import Finish, Handler, enqueue

READ_FILM = "read_film"
GAVE_UP = "This file could not be read, however often it was tried."


@dataclass(frozen=True, slots=True)
class SendFilm:
    """A file as it came and what its sender says of it."""

    data: bytes
    name: str
    taken: TakenHow
    happened_on: date


def keep_upload(
    session: Session, access: CaseAccess, blobs: BlobStore, command: SendFilm, now: datetime
) -> UUID:
    """Keep a file byte for byte, to be read by the worker; the film will have the same id.

    Raises
    ------
    Invalid
        If its content is of no kind that is taken.
    NotAllowed, WrongState
        If this person may not add such a picture, or not now.
    """
    access.role_for(move_of(command.taken.view))
    kind_of(command.data)
    taken = asdict(command.taken)
    upload = Upload(
        id=new_id(now),
        case_id=access.case_id,
        given={
            **taken,
            "taken_on": command.taken.taken_on.isoformat(),
            "happened_on": command.happened_on.isoformat(),
        },
        original_sha256=blobs.put(command.data),
        original_name=command.name,
        added_by=access.actor_id,
        added_at=now,
        is_too_large=False,
    )
    session.add(upload)
    session.flush()
    enqueue(session, READ_FILM, {"upload": str(upload.id)}, now)
    return upload.id


def upload_of(session: Session, case_id: UUID, upload_id: UUID) -> Upload:
    """Return one file that was sent to this case.

    Raises
    ------
    NotFound
        If this case has none of that id.
    """
    found = session.scalars(
        select(Upload).where(Upload.case_id == case_id, Upload.id == upload_id)
    ).one_or_none()
    if found is None:
        raise NotFound("There is no such film on this case.")
    return found


def is_film(session: Session, case_id: UUID, film_id: UUID) -> bool:
    """Say whether this case has a film or photo of that id."""
    found = select(Film.id).where(Film.case_id == case_id, Film.id == film_id)
    return session.scalar(found) is not None


def is_settled(session: Session, upload_id: UUID) -> bool:
    """Say whether a file that was sent has become a film, or was refused."""
    refused = select(Upload.id).where(Upload.id == upload_id, Upload.refused_at.is_not(None))
    became = select(Film.id).where(Film.id == upload_id)
    return session.scalar(refused.union_all(became)) is not None


def film_reader(database: Database, blobs: BlobStore, now: Callable[[], datetime]) -> Handler:
    """Return how the worker reads a film that was sent."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        upload_id = UUID(payload["upload"])
        with database.reading() as session:
            upload = session.get_one(Upload, upload_id)
        try:
            read = read_apart(blobs.get(upload.original_sha256), upload.original_name)
        except (Invalid, TooLarge, NotFound) as error:
            fault = error  # the name in the clause ends with it
            return lambda session: _refuse(session, upload_id, fault, now())
        blobs.put(read.picture_jpeg)  # before the transaction, which then waits for no disk
        return lambda session: _add(session, blobs, upload_id, read, now())

    def give_up(payload: Mapping[str, Any]) -> Finish:
        return lambda session: _refuse(session, UUID(payload["upload"]), Invalid(GAVE_UP), now())

    return Handler(prepare, give_up)


def _refuse(session: Session, upload_id: UUID, error: ReferralError, now: datetime) -> None:
    upload = session.get_one(Upload, upload_id)
    upload.refused_at, upload.refusal = now, error.message
    upload.is_too_large = isinstance(error, TooLarge)


def _add(
    session: Session, blobs: BlobStore, upload_id: UUID, read: ReadFilm, now: datetime
) -> None:
    """Make the film on behalf of who sent it, if they still may."""
    upload = session.get_one(Upload, upload_id)
    if session.get(Film, upload_id) is not None:
        return
    given = dict(upload.given)
    happened_on = date.fromisoformat(given.pop("happened_on"))
    taken = TakenHow(**{**given, "taken_on": date.fromisoformat(given["taken_on"])})
    command = AddFilm(upload.original_sha256, upload.original_name, read, taken, happened_on)
    number = session.scalars(select(Case.number).where(Case.id == upload.case_id)).one()
    try:
        access = case_for(session, upload.added_by, number)
        add_film(session, access, blobs, command, now, upload_id)
    except (NotFound, NotAllowed, WrongState) as error:
        _refuse(session, upload_id, error, now)
