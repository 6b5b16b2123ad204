"""The verbs of films: add one, measure it, type readings in."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.timeline import NewEntry, append, ground_facts, locked
from referral.core.errors import CoreError
from referral.core.measure.film import measure
from referral.core.measure.readings import Measured
from referral.core.measure.views import VIEWS
from referral.core.workflow import Move
from referral.errors import Invalid
from referral.films.conventions import convention_record
from referral.films.doubts import beside_earlier, doubts_of
from referral.films.models import Film, LandmarkSet, ReadingRow, ReadingSet, ScaleSetting
from referral.films.queries import (
    MeasuredFilm,
    file_tags,
    film_of,
    film_to_see,
    limb_digest,
)
from referral.films.scales import beside_the_files, scale_from_given, state_of
from referral.storage.blobs import BlobStore
from referral.storage.decode.film import ReadFilm
from referral.storage.ids import new_id

DEFAULT_LANDMARK_SD_MM = 0.5


@dataclass(frozen=True, slots=True)
class TakenHow:
    """What is said of how a film or photo was taken; None is what was not said."""

    limb: str
    view: str
    taken_on: date
    trim: str
    shod: str
    condyles_superimposed: bool | None = None
    cannon_vertical: bool | None = None
    on_blocks: bool | None = None
    beam_at_sole: bool | None = None
    days_since_trim: int | None = None


@dataclass(frozen=True, slots=True)
class AddFilm:
    """A film as uploaded, what its uploader says of it, and what was read in it."""

    original_sha256: str
    name: str
    read: ReadFilm
    taken: TakenHow
    happened_on: date


def add_film(
    session: Session,
    access: CaseAccess,
    blobs: BlobStore,
    command: AddFilm,
    now: datetime,
    film_id: UUID | None = None,
) -> UUID:
    """Keep a film's served picture and the scale its tags give, beside the original."""
    read, taken = command.read, command.taken
    film = Film(
        id=film_id or new_id(now),
        case_id=access.case_id,
        original_sha256=command.original_sha256,
        original_name=command.name,
        picture_sha256=blobs.put(read.picture_jpeg),
        width_px=read.size_px[0],
        height_px=read.size_px[1],
        described=dict(read.described),
        added_by=access.actor_id,
        added_at=now,
        **asdict(taken),
    )
    session.add(film)
    session.flush()
    if read.scale_tags is not None:
        given = {"kind": "tags", "tags": dict(read.scale_tags)}
        _keep_scale(session, access, film.id, given, now)
    facts = {
        "film": str(film.id),
        "limb": taken.limb,
        "view": taken.view,
        "sha256": film.original_sha256,
    }
    move = move_of(taken.view)
    append(session, access, NewEntry(move, command.happened_on, facts, {}, film.id), now)
    return film.id


def move_of(view: str) -> Move:
    """Return the move that adds a picture of this view: a film, or a photo."""
    return Move.ADD_PHOTO if VIEWS[view].is_photo else Move.ADD_FILM


def measure_move_of(view: str) -> Move:
    """Return the move that measures a picture of this view: a film is the vet's to measure."""
    return Move.MEASURE_PHOTO if VIEWS[view].is_photo else Move.MEASURE_FILM


def _keep_scale(
    session: Session, access: CaseAccess, film_id: UUID, given: Mapping[str, Any], now: datetime
) -> None:
    scale = scale_from_given(given)
    session.add(
        ScaleSetting(
            id=new_id(now),
            film_id=film_id,
            given=dict(given),
            state=state_of(given),
            row_mm=scale.row_mm,
            column_mm=scale.column_mm,
            relative_u=scale.relative_u,
            set_by=access.actor_id,
            set_at=now,
        )
    )


@dataclass(frozen=True, slots=True)
class MeasureFilm:
    """Landmarks and, where it is set anew, the scale of a film.

    ``own_sds_mm`` is the scatter of whoever placed them, where it is known well enough.
    """

    film_id: UUID
    points_px: Mapping[str, Any]
    scale_given: Mapping[str, Any] | None
    happened_on: date
    own_sds_mm: Mapping[str, float] = field(default_factory=dict)


def measure_film(
    session: Session, access: CaseAccess, command: MeasureFilm, now: datetime
) -> Measured:
    """Store scale and landmarks as new rows and keep the readings they give.

    Raises
    ------
    Invalid
        If the landmarks or the scale cannot be used; says which and why.
    NotFound
        If this case has no such film, or it was erased.
    """
    access = locked(session, access, now)
    before = film_to_see(session, access.case_id, command.film_id)
    limb = before.film.limb
    ground = limb_digest(session, access.case_id, limb)
    if command.scale_given is not None:
        given = dict(command.scale_given)
        if given["kind"] not in ("tags", "none") and "beside" not in given:
            given = beside_the_files(given, file_tags(session, command.film_id))
        _keep_scale_or_refuse(session, access, command.film_id, given, now)
    if command.points_px:
        session.add(
            LandmarkSet(
                id=new_id(now),
                film_id=command.film_id,
                points_px=dict(command.points_px),
                landmark_sd_mm=DEFAULT_LANDMARK_SD_MM,
                landmark_sds_mm=dict(command.own_sds_mm),
                placed_by=access.actor_id,
                placed_at=now,
            )
        )
    session.flush()
    film = film_of(session, access.case_id, command.film_id)
    if film.landmarks is None:
        _note_scale_only(session, access, film, command, now)
        return Measured()
    measured = _with_doubts(session, film, measure_or_refuse(film))
    row = _keep_readings(session, access, film, measured, now)
    facts = {
        **_facts_of(film, scale_set=command.scale_given is not None),
        "readings": str(row.id),
        "again": before.landmarks is not None,
        **ground_facts(f"readings.{limb}", ground, limb_digest(session, access.case_id, limb)),
    }
    move = measure_move_of(film.film.view)
    append(session, access, NewEntry(move, command.happened_on, facts, {}, row.id), now)
    return measured


def _with_doubts(session: Session, film: MeasuredFilm, measured: Measured) -> Measured:
    """Return the readings with what is doubtful by how the film was taken, and beside earlier."""
    doubts = (*doubts_of(session, film), *beside_earlier(session, film, measured))
    return replace(measured, warnings=(*measured.warnings, *doubts))


def _facts_of(film: MeasuredFilm, *, scale_set: bool) -> dict[str, Any]:
    return {
        "film": str(film.film.id),
        "limb": film.film.limb,
        "scale_state": film.as_core().scale_state,
        "scale_set": scale_set,
    }


def _note_scale_only(
    session: Session, access: CaseAccess, film: MeasuredFilm, command: MeasureFilm, now: datetime
) -> None:
    facts = _facts_of(film, scale_set=True)
    move = measure_move_of(film.film.view)
    new = NewEntry(move, command.happened_on, facts, {}, film.film.id)
    append(session, access, new, now)


def _keep_scale_or_refuse(
    session: Session, access: CaseAccess, film_id: UUID, given: Mapping[str, Any], now: datetime
) -> None:
    try:
        _keep_scale(session, access, film_id, given, now)
    except CoreError as error:
        raise Invalid(error.message, {"scale": [error.message]}) from error


def measure_or_refuse(film: MeasuredFilm) -> Measured:
    """Measure a film, or say in one sentence why it cannot be measured.

    Raises
    ------
    Invalid
        If its landmarks cannot be used.
    """
    try:
        return measure(film.as_core())
    except CoreError as error:
        raise Invalid(error.message, {"landmarks": [error.message]}) from error


def _keep_readings(
    session: Session, access: CaseAccess, film: MeasuredFilm, measured: Measured, now: datetime
) -> ReadingSet:
    row = ReadingSet(
        id=new_id(now),
        case_id=access.case_id,
        limb=film.film.limb,
        film_id=film.film.id,
        scale_id=film.scale_row.id if film.scale_row else None,
        landmark_set_id=film.landmarks.id if film.landmarks else None,
        taken_on=film.film.taken_on,
        absent=dict(measured.absent),
        warnings=[{"code": each.code, "text": each.text} for each in measured.warnings],
        recorded_by=access.actor_id,
        recorded_at=now,
    )
    _add_set(session, row, measured, now)
    return row


def _add_set(session: Session, row: ReadingSet, measured: Measured, now: datetime) -> None:
    session.add(row)
    session.flush()
    session.add_all(
        ReadingRow(
            id=new_id(now),
            reading_set_id=row.id,
            code=each.code,
            value=each.value,
            u=each.u,
            unit=each.unit,
            scale_state=each.scale_state,
            basis=each.basis,
            convention=convention_record(each.convention),
        )
        for each in measured.readings.values()
    )


@dataclass(frozen=True, slots=True)
class TypeReadings:
    """Readings typed by hand for one limb, as they were taken on a day."""

    limb: str
    taken_on: date
    measured: Measured
    happened_on: date


def type_readings(
    session: Session, access: CaseAccess, command: TypeReadings, now: datetime
) -> UUID:
    """Keep readings that were typed in; return the id of their set.

    Raises
    ------
    Invalid
        If there is none.
    """
    if not command.measured.readings:
        raise Invalid("Type at least one reading.", {"readings": ["Type at least one reading."]})
    row = ReadingSet(
        id=new_id(now),
        case_id=access.case_id,
        limb=command.limb,
        taken_on=command.taken_on,
        absent={},
        warnings=[],
        recorded_by=access.actor_id,
        recorded_at=now,
    )
    before = limb_digest(session, access.case_id, command.limb)
    _add_set(session, row, command.measured, now)
    session.flush()
    after = limb_digest(session, access.case_id, command.limb)
    facts = {
        "limb": command.limb,
        "readings": str(row.id),
        **ground_facts(f"readings.{command.limb}", before, after),
    }
    append(
        session, access, NewEntry(Move.RECORD_READINGS, command.happened_on, facts, {}, row.id), now
    )
    return row.id
