"""A plan's shoe over the sole photo of its foot, or why it cannot be laid there."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.core.errors import CoreError
from referral.core.measure.film import foot_points, measure
from referral.core.measure.sole_photo import SCALE_ENDS
from referral.films.queries import MeasuredFilm, film_of, pictures_of
from referral.shoes.drawing import Marks
from referral.shoes.fit import USUAL_EXTENSION_MM
from referral.shoes.on_photo import NEEDED, OnPhoto, laid_svg, on_photo
from referral.shoes.outline import ShoeShape
from referral.web.written import quantity

SOLE = "sole_photo"
NO_PHOTO = "There is no sole photo of this foot yet."
NO_SCALE = (
    "The newest sole photo has no known length, so nothing can be laid on it true to scale: place "
    "scale A and scale B on it and say how far apart they are."
)
NOT_PLACED = "Toe and both heels are not placed on the newest sole photo yet."


@dataclass(frozen=True, slots=True)
class LaidShoe:
    """The outline over a photo with its numbers, or why there is none."""

    film_id: UUID | None = None
    taken_on: date | None = None
    why_not: str = ""
    svg: str = ""
    numbers: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()


def laid_shoe(
    session: Session, case_id: UUID, limb: str, shape: ShoeShape, content: Mapping[str, Any]
) -> LaidShoe:
    """Return a shoe over the newest sole photo of a foot that it can be laid on."""
    photos = _sole_photos(session, case_id, limb)
    if not photos:
        return LaidShoe(why_not=NO_PHOTO)
    fit = next((each for each in photos if not _lacks(each)), None)
    if fit is None:
        return LaidShoe(photos[0].film.id, photos[0].film.taken_on, _lacks(photos[0]))
    return _laid(fit, shape, content)


def foot_marks(
    session: Session, case_id: UUID, limb: str, content: Mapping[str, Any]
) -> tuple[Marks, date | None]:
    """Return a foot's places on its newest usable sole photo in the shoe's frame, and the day."""
    photos = _sole_photos(session, case_id, limb)
    fit = next((each for each in photos if not _lacks(each)), None)
    if fit is None:
        return (), None
    back = _extension_mm(content)
    foot = foot_points(fit.as_core())
    marks = [
        (float(at[0]) + back, float(at[1])) for name, at in foot.items() if name not in SCALE_ENDS
    ]
    return marks, fit.film.taken_on


def _sole_photos(session: Session, case_id: UUID, limb: str) -> list[MeasuredFilm]:
    """Return the sole photos of a foot, newest first."""
    return [
        film_of(session, case_id, each.id)
        for each in pictures_of(session, case_id)
        if (each.limb, each.view) == (limb, SOLE)
    ]


def _extension_mm(content: Mapping[str, Any]) -> float:
    said = (content.get("shoe") or {}).get("heel_extension_mm")
    return USUAL_EXTENSION_MM if said is None else float(said)


def _lacks(film: MeasuredFilm) -> str:
    """Return what a photo lacks for a shoe to be laid on it, or nothing."""
    placed = film.landmarks.points_px if film.landmarks else {}
    if not placed.keys() >= set(NEEDED):
        return NOT_PLACED
    core = film.as_core()
    try:
        if core.scale_in_force.row_mm is None:
            return NO_SCALE
        return "" if foot_points(core).keys() >= set(NEEDED) else NOT_PLACED
    except CoreError as error:
        return error.message


def _laid(film: MeasuredFilm, shape: ShoeShape, content: Mapping[str, Any]) -> LaidShoe:
    core = film.as_core()
    foot = foot_points(core)
    wanted = _extension_mm(content)
    placed = core.landmarks_px or {}
    u = {code: each.u for code, each in measure(core).readings.items()}
    return LaidShoe(
        film_id=film.film.id,
        taken_on=film.film.taken_on,
        svg=laid_svg(shape, foot, placed, wanted, film.size_px, film.scale.aspect),
        numbers=_numbers(on_photo(shape, foot, wanted), wanted, u),
        notes=_notes(
            film, is_said=(content.get("shoe") or {}).get("heel_extension_mm") is not None
        ),
    )


def _numbers(
    lies: OnPhoto, extension_mm: float, u: Mapping[str, float]
) -> tuple[tuple[str, str], ...]:
    rows = [("Shoe behind the heels, as planned", quantity(extension_mm, "mm", 0))]
    if lies.wider_by_mm is not None:
        width = _told(lies.wider_by_mm, u.get("foot_width_mm"), ("wider", "narrower"))
        rows.append(("At its widest", f"{width} than the foot"))
    for heel in lies.heels:
        covered = "on the shoe" if heel.is_covered else "not on the shoe"
        edge = _told(heel.overhang_mm, None, ("outside", "inside"))
        rows.append((f"{heel.side.capitalize()} heel", f"{covered}; the shoe’s edge {edge} it"))
    if lies.behind_frog_mm is not None:
        frog = _told(
            lies.behind_frog_mm, u.get("heel_to_frog_widest_mm"), ("behind", "in front of")
        )
        rows.append(("Shoe’s heels", f"{frog} the frog’s widest part"))
    toe = _told(lies.toe_back_mm, u.get("foot_length_mm"), ("behind", "in front of"))
    rows.append(("Shoe’s toe", f"{toe} the foot’s"))
    return tuple(rows)


def _told(value: float, u: float | None, words: tuple[str, str]) -> str:
    """Return a length with U and the word for its sign: 4.0 ± 4.1 mm in front of."""
    said = words[0] if value >= 0 else words[1]
    if u is None:
        return f"{quantity(abs(value), 'mm', 0)} {said}"
    return f"{abs(value):.1f} ± {quantity(2.0 * u, 'mm')} {said}"


def _notes(film: MeasuredFilm, *, is_said: bool) -> tuple[str, ...]:
    notes = []
    if film.film.trim != "after":
        notes.append(
            "The photo was not taken after the trim: a trim moves toe and heels back, and the "
            "outline lies on the foot as it was photographed."
        )
    if film.film.shod != "no":
        notes.append("The foot may have been shod on the photo: its edges may be the old shoe’s.")
    if not is_said:
        notes.append(
            f"The plan does not say how far the shoe lies behind the heels: {USUAL_EXTENSION_MM:g} "
            "mm are taken, about a shoe’s thickness."
        )
    return tuple(notes)
