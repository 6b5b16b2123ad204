"""What the film pages show, frozen and ready to print."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from referral.core.measure.caveats import scale_caveats
from referral.core.measure.film import Film as CoreFilm
from referral.core.measure.film import measure
from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.core.measure.readings import Caveat, Measured
from referral.core.measure.registry import MEASURES
from referral.core.measure.views import VIEWS
from referral.films.conventions import convention_says
from referral.films.doubts import claimed_taken_at
from referral.films.edges import edge_words
from referral.films.overlay import landmark_numbers
from referral.films.queries import MeasuredFilm
from referral.films.scale_words import (
    CONFLICT_SAYS,
    correction_says,
    marker_of,
    overlay_of,
    plane_says,
)
from referral.films.schemas import SHOD, TRIMS
from referral.films.schemas import VIEWS as VIEW_NAMES
from referral.web.codes import in_words
from referral.web.written import day, with_u

SLOTS = 6
"""How many points round the joint face may be placed on a page."""

SCALE_SAYS = {
    "marker": "Scale: a marker of known length on this film. Lengths may be judged.",
    "corrected": "Scale: corrected by the maker of the machine. Lengths may be judged.",
    "estimated": "Scale: only estimated from distances. Lengths are shown and not judged.",
    "none": "No scale: angles and ratios only. Place both ends of a marker of known length.",
}
PHOTO_SAYS = {
    "external": "Lengths by a known length on the photo: guides from outside, no film's readings.",
    "none": "No known length yet: angles and ratios only. Place scale A and scale B.",
}


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
    edge: str


@dataclass(frozen=True, slots=True)
class AbsentReading:
    """A reading that is not there, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class FilmPage:
    """One film with its editor."""

    number: int
    revision: int
    film_id: UUID
    limb: str
    view: str
    title: str
    is_photo: bool
    drawing: str
    taken: tuple[tuple[str, str], ...]
    taken_on: date
    size_px: tuple[int, int]
    stretch: tuple[float, float]
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
    absent: tuple[AbsentReading, ...]
    warnings: tuple[str, ...]
    own_scatter: str
    defined: tuple[tuple[str, str], ...]

    @property
    def key(self) -> tuple[tuple[int, str], ...]:
        """The number and the name of each landmark that is drawn over the film."""
        numbers = landmark_numbers(self.view)
        placed = (each for each in self.landmarks if each.x is not None or each.points)
        return tuple((numbers[each.name], each.label) for each in placed)


DRAWINGS = {
    "lateromedial": "img/landmarks-lateromedial.svg",
    "dorsopalmar": "img/landmarks-dorsopalmar.svg",
    "sole_photo": "img/landmarks-sole.svg",
    "side_photo": "img/landmarks-side.svg",
    "front_photo": "img/landmarks-front.svg",
}
"""Where each view's own drawing lies among the static files."""


def film_page(
    film: MeasuredFilm,
    measured: Measured,
    doubts: tuple[Caveat, ...],
    number: int,
    revision: int,
    *,
    may_measure: bool,
) -> FilmPage:
    """Return what the page of a film with these readings shows."""
    row = film.film
    points = film.landmarks.points_px if film.landmarks else {}
    marker = marker_of(film)
    return FilmPage(
        number=number,
        revision=revision,
        film_id=row.id,
        limb=row.limb,
        view=row.view,
        title=dict(VIEW_NAMES)[row.view],
        is_photo=VIEWS[row.view].is_photo,
        drawing=DRAWINGS[row.view],
        taken=taken_says(film),
        taken_on=row.taken_on,
        size_px=film.size_px,
        stretch=film.stretch,
        original_name=row.original_name,
        described=row.described,
        landmarks=landmark_slots(row.view, points),
        lines=VIEWS[row.view].lines,
        marker=marker,
        scale_says=scale_says(film.as_core()),
        scale_sources=(*plane_says(marker), *correction_says(film, marker), *sources_say(film)),
        may_measure=may_measure,
        overlay=overlay_of(film, marker),
        readings=shown_readings(measured),
        absent=absent_readings(measured),
        warnings=tuple(each.text for each in (*_of_scale(film, measured), *doubts)),
        own_scatter=own_scatter_says(film),
        defined=defined_how(measured),
    )


def measured_now(film: MeasuredFilm) -> Measured:
    """Return what the landmarks and the scale in force read; nothing where none is placed."""
    return measure(film.as_core()) if film.landmarks else Measured()


def own_scatter_says(film: MeasuredFilm) -> str:
    """Return whose scatter the ± of the kept landmarks comes from, if it is somebody's own."""
    own = (film.landmarks.landmark_sds_mm or {}) if film.landmarks else {}
    if not own:
        return ""
    return f"The ± of {len(own)} landmarks is from the own scatter of who placed them."


def sources_say(film: MeasuredFilm) -> tuple[str, ...]:
    """Return what each source of the film's scale says."""
    return tuple(
        f"{each.origin}: {each.row_mm:.4g} × {each.column_mm:.4g} mm a pixel ({each.state})"
        for each in film.scale.sources
    )


def absent_readings(measured: Measured) -> tuple[AbsentReading, ...]:
    """Return the readings that are not there, each with the reason."""
    return tuple(
        AbsentReading(MEASURES[code].name, in_words(why)) for code, why in measured.absent.items()
    )


def shown_readings(measured: Measured) -> tuple[tuple[str, str], ...]:
    """Return each reading's name and its value with U."""
    return tuple(
        (MEASURES[code].name, with_u(each.value, each.u, each.unit))
        for code, each in measured.readings.items()
    )


def defined_how(measured: Measured) -> tuple[tuple[str, str], ...]:
    """Return each reading's name and the definition it is taken by."""
    return tuple(
        (MEASURES[code].name, convention_says(each.convention))
        for code, each in measured.readings.items()
    )


def _of_scale(film: MeasuredFilm, measured: Measured) -> tuple[Caveat, ...]:
    """Return the readings' doubts; before there is a reading, those of the scale alone."""
    if measured.readings or measured.warnings or film.as_core().is_photo:
        return measured.warnings
    return scale_caveats(film.scale, is_placed=False)


SQUARE_SAYS = {"lateromedial": "Condyles over each other", "dorsopalmar": "Square to the foot"}
"""How it is called on each kind of film that it is not oblique."""


def taken_says(film: MeasuredFilm) -> tuple[tuple[str, str], ...]:
    """Return what was said of how the picture was taken, question and answer."""
    row = film.film
    asked: list[tuple[str, str]] = [
        ("Trim", dict(TRIMS)[row.trim]),
        ("Shod", dict(SHOD)[row.shod]),
        ("Days since the last trim", _days(row.days_since_trim)),
    ]
    if row.view != "sole_photo":
        asked.append(("Cannon vertical", _yes_no(row.cannon_vertical)))
    if row.view in SQUARE_SAYS:
        asked.append((SQUARE_SAYS[row.view], _yes_no(row.condyles_superimposed)))
    if not VIEWS[row.view].is_photo:
        asked += [
            ("Both feet on blocks of one height", _yes_no(row.on_blocks)),
            ("Beam at the height of the sole", _yes_no(row.beam_at_sole)),
        ]
    claimed = claimed_taken_at(row)
    if claimed is not None:
        zone = f" {claimed.tzinfo}" if claimed.tzinfo else ", zone not said"
        said = f"{day(claimed.date())}, {claimed:%H:%M}{zone} (claimed)"
        asked.append(("Taken, by the camera's clock", said))
    return tuple(asked)


def _yes_no(said: bool | None) -> str:
    return {True: "Yes", False: "No", None: "Not said"}[said]


def _days(said: int | None) -> str:
    return "Not said" if said is None else str(said)


def landmark_slots(view: str, points: Mapping[str, Any]) -> tuple[LandmarkSlot, ...]:
    """Return a view's landmarks in guided order with their places."""
    return tuple(
        _slot(view, name, sentence, points.get(name)) for name, sentence in LANDMARKS[view].items()
    )


def _slot(view: str, name: str, sentence: str, at: Any) -> LandmarkSlot:  # noqa: ANN401 - JSON
    label = name.replace("_", " ").replace("p3", "P3").replace("p2", "P2").capitalize()
    if name in SEVERAL_POINTS:
        places = tuple((float(x), float(y)) for x, y in at or ())
        return LandmarkSlot(name, label, sentence, None, None, places, SLOTS, "")
    x, y = (float(at[0]), float(at[1])) if at else (None, None)
    return LandmarkSlot(name, label, sentence, x, y, (), 0, edge_words(view, name))


def scale_says(film: CoreFilm) -> str:
    """Return the state of a picture's scale in a sentence or two."""
    if film.is_photo:
        return PHOTO_SAYS[film.scale_state]
    scale = film.scale
    return CONFLICT_SAYS if scale.conflict else SCALE_SAYS[scale.state]


def live_readings(measured: Measured, film: CoreFilm) -> Mapping[str, Any]:
    """Return what the editor shows beside the film while landmarks are placed."""
    return {
        "readings": [
            {"name": MEASURES[code].name, "shown": with_u(each.value, each.u, each.unit)}
            for code, each in measured.readings.items()
        ],
        "absent": [
            {"name": MEASURES[code].name, "reason": in_words(reason)}
            for code, reason in measured.absent.items()
        ],
        "warnings": [each.text for each in measured.warnings],
        "scale": scale_says(film),
    }


TYPED_UNITS = ("deg", "mm", "percent", "ratio")


def typed_codes(view: str = "lateromedial") -> Sequence[tuple[str, str, str]]:
    """Return code, name and unit of every reading that can be typed by hand."""
    return [
        (code, measure.name, measure.unit)
        for code, measure in MEASURES.items()
        if measure.view == view and measure.unit in TYPED_UNITS
    ]
