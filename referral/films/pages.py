"""What the film pages show, frozen and ready to print."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from referral.core.geometry.scale import Scale
from referral.core.measure.film import measure
from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.core.measure.readings import Measured
from referral.core.measure.registry import MEASURES
from referral.films.overlay import LINES_OF, overlay_svg
from referral.films.queries import MeasuredFilm

SLOTS = 6
"""How many points round the joint face may be placed on a page."""

SCALE_SAYS = {
    "marker": "Scale: a marker of known length on this film. Lengths may be judged.",
    "corrected": "Scale: corrected by the maker of the machine. Lengths may be judged.",
    "estimated": "Scale: only estimated from distances. Lengths are shown and not judged.",
    "none": "No scale: angles and ratios only. Place both ends of a marker of known length.",
}
CONFLICT_SAYS = "The film's own sources of scale disagree, so none is used. Place a marker."


@dataclass(frozen=True, slots=True)
class LandmarkSlot:
    """A landmark in the editor: where it is placed, if it is."""

    name: str
    label: str
    sentence: str
    x: float | None
    y: float | None
    points: tuple[tuple[float, float], ...]
    slots: int


@dataclass(frozen=True, slots=True)
class FilmPage:
    """One film with its editor."""

    number: int
    revision: int
    film_id: UUID
    limb: str
    view: str
    taken_on: date
    width_px: int
    height_px: int
    original_name: str
    described: Mapping[str, Any]
    landmarks: tuple[LandmarkSlot, ...]
    lines: tuple[tuple[str, str], ...]
    marker: Mapping[str, Any]
    scale_says: str
    scale_sources: tuple[str, ...]
    may_measure: bool
    overlay: str
    readings: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]


def film_page(film: MeasuredFilm, number: int, revision: int, *, may_measure: bool) -> FilmPage:
    """Return what the page of a film shows."""
    row = film.film
    points = film.landmarks.points_px if film.landmarks else {}
    marker = marker_of(film)
    measured = measure(film.as_core()) if points else Measured()
    return FilmPage(
        number=number,
        revision=revision,
        film_id=row.id,
        limb=row.limb,
        view=row.view,
        taken_on=row.taken_on,
        width_px=row.width_px,
        height_px=row.height_px,
        original_name=row.original_name,
        described=row.described,
        landmarks=landmark_slots(row.view, points),
        lines=tuple(LINES_OF.get(row.view, ())),
        marker=marker,
        scale_says=scale_says(film.scale),
        scale_sources=tuple(
            f"{each.origin}: {each.row_mm:.4g} × {each.column_mm:.4g} mm a pixel ({each.state})"
            for each in film.scale.sources
        ),
        may_measure=may_measure,
        overlay=overlay_svg(
            points,
            (row.width_px, row.height_px),
            view=row.view,
            marker_ends_px=marker["ends"],
            pixel_aspect=film.scale.aspect,
        ),
        readings=tuple(
            (MEASURES[code].name, shown(each.value, each.u, each.unit))
            for code, each in measured.readings.items()
        ),
        warnings=tuple(each.text for each in measured.warnings),
    )


def marker_of(film: MeasuredFilm) -> Mapping[str, Any]:
    """Return the ends and the length of the marker that sets a film's scale, or None for both."""
    given = film.scale_row.given if film.scale_row else {}
    is_marker = given.get("kind") == "marker"
    return {
        "ends": given.get("ends_px") if is_marker else None,
        "length_mm": given.get("length_mm") if is_marker else None,
    }


def landmark_slots(view: str, points: Mapping[str, Any]) -> tuple[LandmarkSlot, ...]:
    """Return a view's landmarks in guided order with their places."""
    return tuple(
        _slot(name, sentence, points.get(name), several=name in SEVERAL_POINTS)
        for name, sentence in LANDMARKS[view].items()
    )


def _slot(name: str, sentence: str, at: Any, *, several: bool) -> LandmarkSlot:  # noqa: ANN401 - JSON
    label = name.replace("_", " ").replace("p3", "P3").replace("p2", "P2").capitalize()
    if several:
        places = tuple((float(x), float(y)) for x, y in at or ())
        return LandmarkSlot(name, label, sentence, None, None, places, SLOTS)
    x, y = (float(at[0]), float(at[1])) if at else (None, None)
    return LandmarkSlot(name, label, sentence, x, y, (), 0)


def scale_says(scale: Scale) -> str:
    """Return a scale's state in one sentence."""
    return CONFLICT_SAYS if scale.conflict else SCALE_SAYS[scale.state]


def live_readings(measured: Measured, scale: Scale) -> Mapping[str, Any]:
    """Return what the editor shows beside the film while landmarks are placed."""
    return {
        "readings": [
            {"name": MEASURES[code].name, "shown": shown(each.value, each.u, each.unit)}
            for code, each in measured.readings.items()
        ],
        "absent": [
            {"name": MEASURES[code].name, "reason": reason}
            for code, reason in measured.absent.items()
        ],
        "warnings": [each.text for each in measured.warnings],
        "scale": scale_says(scale),
    }


UNIT_SIGNS = {"deg": "°", "mm": " mm", "percent": " %", "ratio": ""}


def shown(value: float, u: float, unit: str) -> str:
    """Return a value with U = 2u and its unit."""
    decimals = 2 if unit == "ratio" else 1
    text = f"{value:.{decimals}f} ± {2 * u:.{decimals}f}{UNIT_SIGNS[unit]}"
    return text.replace("-", "−")


def typed_codes(view: str = "lateromedial") -> Sequence[tuple[str, str, str]]:
    """Return code, name and unit of every reading that can be typed by hand."""
    return [
        (code, measure.name, measure.unit)
        for code, measure in MEASURES.items()
        if measure.view == view and measure.unit in UNIT_SIGNS
    ]
