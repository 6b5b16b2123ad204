"""Reads on films and readings, always inside a case that the actor may see."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from types import MappingProxyType
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from referral.cases.erasures import erased_at, refuse_erased
from referral.cases.models import Erasure
from referral.core.geometry.frames import square_stretch
from referral.core.geometry.scale import Scale
from referral.core.measure.film import Film as CoreFilm
from referral.core.measure.readings import Caveat, Measured, Reading
from referral.core.measure.registry import MEASURES
from referral.core.measure.views import VIEWS
from referral.errors import NotFound
from referral.films.conventions import convention_from
from referral.films.models import Film, LandmarkSet, ReadingRow, ReadingSet, ScaleSetting
from referral.films.scales import scale_from_given
from referral.storage.canonical import canonical_json, sha256_hex
from referral.storage.together import CaseId, Rows
from referral.web.written import day


@dataclass(frozen=True, slots=True)
class MeasuredFilm:
    """A film with the scale and the landmarks in force on it; ``erased`` is when its file was."""

    film: Film
    scale_row: ScaleSetting | None
    landmarks: LandmarkSet | None
    erased: datetime | None = None

    @property
    def scale_given(self) -> Mapping[str, Any]:
        """What was given to set the scale in force."""
        return self.scale_row.given if self.scale_row else {"kind": "none"}

    @property
    def scale(self) -> Scale:
        """The scale in force; a film on which nothing was set has none."""
        return self.as_core().scale_in_force

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of the stored original."""
        return self.film.width_px, self.film.height_px

    @property
    def stretch(self) -> tuple[float, float]:
        """How many times wider and higher a pixel of the original is shown."""
        return square_stretch(self.scale.aspect)

    def as_core(self) -> CoreFilm:
        """Return the film as the core measures it."""
        points = self.landmarks.points_px if self.landmarks else {}
        given = self.scale_given
        return CoreFilm(
            view=self.film.view,
            landmarks_px={name: np.asarray(value, float) for name, value in points.items()},
            landmarks_mm=None,
            scale=scale_from_given(given),
            size_px=self.size_px,
            shod=self.film.shod,
            taken_on=self.film.taken_on,
            trim=self.film.trim,
            condyles_superimposed=self.film.condyles_superimposed,
            landmark_sds_mm=(self.landmarks.landmark_sds_mm or None) if self.landmarks else None,
            scale_length_mm=given.get("length_mm") if given.get("kind") == "length" else None,
            cannon_vertical=self.film.cannon_vertical,
        )


@dataclass(frozen=True, slots=True)
class LimbBasis:
    """What a limb is judged on now: the newest film, readings typed in, guides from outside.

    ``front`` is what the newest film from the front says. ``guides`` are measured on photos or
    on the foot itself; they have codes of their own and never stand in for a film's reading.
    """

    limb: str
    film: MeasuredFilm | None
    typed: Measured
    guides: Measured
    reading_set_ids: tuple[UUID, ...]
    taken_on: date | None
    front: Measured = field(default_factory=Measured)

    @property
    def stated(self) -> Measured:
        """What is not off the film: typed readings, or guides where there is nothing else."""
        nothing_else = self.film is None and not self.typed.readings
        return self.guides if nothing_else else self.typed


def films_of(session: Session, case_id: UUID) -> Sequence[Film]:
    """Return the case's films and photos, newest first."""
    return session.scalars(
        select(Film).where(Film.case_id == case_id).order_by(Film.taken_on.desc(), Film.id.desc())
    ).all()


def pictures_of(session: Session, case_id: UUID) -> Sequence[Film]:
    """Return the case's films and photos of which there is a picture still, newest first."""
    return session.scalars(
        select(Film)
        .where(Film.case_id == case_id, erased_at(Film.id).is_(None))
        .order_by(Film.taken_on.desc(), Film.id.desc())
    ).all()


def erased_ground(session: Session, case_id: UUID, limbs: Iterable[str]) -> tuple[str, ...]:
    """Return which films that plans of these limbs would rest on were erased, in sentences."""
    films = [limb_basis(session, case_id, limb).film for limb in limbs]
    return tuple(
        _erased_says(each.film, each.erased) for each in films if each is not None and each.erased
    )


def erased_among(session: Session, case_id: UUID, judged_on: Mapping[str, Any]) -> tuple[str, ...]:
    """Return which films that a plan was judged on were erased, in sentences.

    ``judged_on`` is what was kept of each limb's readings when it was judged.
    """
    files = {limb: kept["film"]["sha256"] for limb, kept in judged_on.items() if kept["film"]}
    rows = session.execute(
        select(Film, Erasure.erased_at)
        .join(Erasure, Erasure.subject_id == Film.id)
        .where(Film.case_id == case_id)
        .order_by(Film.limb)
    )
    return tuple(
        _erased_says(film, erased)
        for film, erased in rows
        if files.get(film.limb) == film.original_sha256
    )


def _erased_says(film: Film, erased: datetime) -> str:
    return (
        f"{film.limb}: the film of {day(film.taken_on)} was erased on {day(erased)}. Its readings "
        "stand, and nobody can check or measure them again."
    )


def select_films(case_id: CaseId) -> Rows:
    """Return the query for the case's films and photos, newest first, with how each stands."""
    measured = select(LandmarkSet.id).where(LandmarkSet.film_id == Film.id).exists()
    scale = (
        select(ScaleSetting.state)
        .where(ScaleSetting.film_id == Film.id)
        .order_by(ScaleSetting.set_at.desc(), ScaleSetting.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    return (
        select(
            Film.id,
            Film.limb,
            Film.view,
            Film.taken_on,
            Film.trim,
            Film.shod,
            measured.label("is_measured"),
            func.coalesce(scale, "none").label("scale_state"),
            erased_at(Film.id).label("erased"),
        )
        .where(Film.case_id == case_id)
        .order_by(Film.taken_on.desc(), Film.id.desc())
    )


def film_of(session: Session, case_id: UUID, film_id: UUID) -> MeasuredFilm:
    """Return one film of this case with its scale and landmarks in force.

    Raises
    ------
    NotFound
        If this case has no such film.
    """
    found = session.execute(
        select(Film, erased_at(Film.id)).where(Film.case_id == case_id, Film.id == film_id)
    ).one_or_none()
    if found is None:
        raise NotFound("There is no such film on this case.")
    film, erased = found
    scale, landmarks = latest_scale(session, film.id), latest_landmarks(session, film.id)
    return MeasuredFilm(film, scale, landmarks, erased)


def film_to_see(session: Session, case_id: UUID, film_id: UUID) -> MeasuredFilm:
    """Return one film of this case of which there is a picture still.

    Raises
    ------
    NotFound
        If this case has no such film, or it was erased; says when.
    """
    film = film_of(session, case_id, film_id)
    refuse_erased(film.erased, "film")
    return film


def latest_scale(session: Session, film_id: UUID) -> ScaleSetting | None:
    """Return the scale in force on a film."""
    return session.scalars(
        select(ScaleSetting)
        .where(ScaleSetting.film_id == film_id)
        .order_by(ScaleSetting.set_at.desc(), ScaleSetting.id.desc())
        .limit(1)
    ).one_or_none()


def file_tags(session: Session, film_id: UUID) -> Mapping[str, Any] | None:
    """Return what a film's own file says of its scale, whatever was set since."""
    first = session.scalars(
        select(ScaleSetting)
        .where(ScaleSetting.film_id == film_id)
        .order_by(ScaleSetting.set_at, ScaleSetting.id)
        .limit(1)
    ).one_or_none()
    given = first.given if first else {}
    is_files = given.get("kind") == "tags" and "stated" not in given
    return given["tags"] if is_files else given.get("beside")


def latest_landmarks(session: Session, film_id: UUID) -> LandmarkSet | None:
    """Return the landmarks in force on a film."""
    return session.scalars(
        select(LandmarkSet)
        .where(LandmarkSet.film_id == film_id)
        .order_by(LandmarkSet.placed_at.desc(), LandmarkSet.id.desc())
        .limit(1)
    ).one_or_none()


def reading_sets(
    session: Session, case_id: UUID, limb: str | None = None
) -> Sequence[tuple[ReadingSet, Measured]]:
    """Return the case's sets of readings, newest first, each as it was measured."""
    query = select_reading_sets(case_id)
    if limb:
        query = query.where(ReadingSet.limb == limb)
    sets = session.scalars(query).all()
    ids = [each.id for each in sets]
    rows = session.scalars(select(ReadingRow).where(ReadingRow.reading_set_id.in_(ids)))
    return as_measured(sets, rows)


def select_reading_sets(case_id: CaseId) -> Select[ReadingSet]:
    """Return the query for the case's sets of readings, newest first."""
    return (
        select(ReadingSet)
        .where(ReadingSet.case_id == case_id)
        .order_by(ReadingSet.taken_on.desc(), ReadingSet.recorded_at.desc())
    )


def select_readings(case_id: CaseId) -> Rows:
    """Return the query for every reading of the case."""
    return (
        select(
            ReadingRow.reading_set_id,
            ReadingRow.code,
            ReadingRow.value,
            ReadingRow.u,
            ReadingRow.unit,
            ReadingRow.scale_state,
            ReadingRow.basis,
            ReadingRow.convention,
        )
        .join(ReadingSet, ReadingSet.id == ReadingRow.reading_set_id)
        .where(ReadingSet.case_id == case_id)
    )


def as_measured(
    sets: Sequence[ReadingSet], rows: Iterable[ReadingRow]
) -> Sequence[tuple[ReadingSet, Measured]]:
    """Return sets of readings, each with its readings as they were measured."""
    found: dict[UUID, list[ReadingRow]] = {}
    for row in rows:
        found.setdefault(row.reading_set_id, []).append(row)
    return [(each, _measured(each, found.get(each.id, []))) for each in sets]


def _measured(reading_set: ReadingSet, rows: Sequence[ReadingRow]) -> Measured:
    readings = {
        row.code: Reading(
            row.code,
            row.value,
            row.u,
            row.unit,
            row.scale_state,
            row.basis,
            convention=convention_from(row.convention),
        )
        for row in rows
    }
    return Measured(
        MappingProxyType(readings),
        MappingProxyType(dict(reading_set.absent)),
        tuple(Caveat(each["code"], each["text"]) for each in reading_set.warnings),
    )


def limb_basis(session: Session, case_id: UUID, limb: str) -> LimbBasis:
    """Return what a plan on this limb is judged on.

    Each view answers for itself: the newest film from the side that was measured, beside
    readings typed in on its day or on a later one alone; the newest film from the front; and
    the newest guide of each kind.
    """
    views = _views(session, case_id, limb)
    film: MeasuredFilm | None = None
    typed, front = Measured(), Measured()
    guides: dict[str, Reading] = {}
    ids: list[UUID] = []
    newest: date | None = None
    for reading_set, measured in reading_sets(session, case_id, limb):
        outside = {code: each for code, each in measured.readings.items() if is_guide(code)}
        guides = {**outside, **guides}
        view = views.get(reading_set.film_id) if reading_set.film_id else None
        if view == "dorsopalmar" and not front.readings:
            front = measured
        if len(outside) == len(measured.readings) or view not in (None, "lateromedial"):
            continue
        newest = newest or reading_set.taken_on
        if reading_set.taken_on != newest:
            continue
        if reading_set.film_id and film is None:
            film = film_of(session, case_id, reading_set.film_id)
            ids.append(reading_set.id)
        elif reading_set.film_id is None and not typed.readings:
            typed = measured
            ids.append(reading_set.id)
    kept = Measured(MappingProxyType(guides))
    return LimbBasis(limb, film, typed, kept, tuple(ids), newest, front)


def _views(session: Session, case_id: UUID, limb: str) -> Mapping[UUID, str]:
    rows = session.execute(
        select(Film.id, Film.view).where(Film.case_id == case_id, Film.limb == limb)
    )
    return {row.id: row.view for row in rows}


def limb_digest(session: Session, case_id: UUID, limb: str) -> str:
    """Return the digest of everything measured that a plan on this limb rests on now."""
    return sha256_hex(canonical_json(basis_record(limb_basis(session, case_id, limb))))


def is_guide(code: str) -> bool:
    """Say whether a reading is one that photos and the foot itself give, and films never."""
    measure = MEASURES.get(code)
    return measure is not None and VIEWS[measure.view].is_photo


def basis_record(basis: LimbBasis) -> Mapping[str, Any]:
    """Return the part of an agreement's content that says what was measured, and on what."""
    film = basis.film
    readings = basis.stated.readings.values()
    own = film.landmarks.landmark_sds_mm if film and film.landmarks else None
    ahead = sorted([each.code, each.value, each.u] for each in basis.front.readings.values())
    return {
        **({"front": ahead} if ahead else {}),
        **({"own_scatter_mm": dict(own)} if own else {}),
        "film": None
        if film is None
        else {
            "sha256": film.film.original_sha256,
            "size_px": [film.film.width_px, film.film.height_px],
            "taken_on": film.film.taken_on.isoformat(),
            "trim": film.film.trim,
            "shod": film.film.shod,
            "scale": dict(film.scale_row.given) if film.scale_row else None,
            "landmarks_px": dict(film.landmarks.points_px) if film.landmarks else {},
        },
        "stated": sorted(
            [each.code, each.value, each.u, each.unit, each.scale_state] for each in readings
        ),
    }
