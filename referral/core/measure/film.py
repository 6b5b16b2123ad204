"""A film with its landmarks and scale, and the readings it gives."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

import numpy as np

from referral.core.errors import CoreError, DegenerateLine
from referral.core.geometry.circle import FEWEST_POINTS
from referral.core.geometry.frames import pixels_to_mm
from referral.core.geometry.points import Floats
from referral.core.geometry.scale import Scale
from referral.core.measure.caveats import (
    OBLIQUE,
    PHOTO_GUIDE,
    CondyleFit,
    condyle_caveats,
    condyle_fit,
    scale_caveats,
)
from referral.core.measure.checks import (
    check_above,
    check_lines,
    check_order,
    check_sides,
    checked_landmarks,
    is_upside_down,
)
from referral.core.measure.landmarks import SEVERAL_POINTS
from referral.core.measure.lateromedial import CENTRE_READINGS
from referral.core.measure.photo_scale import TILT_U, photo_scale
from referral.core.measure.placement import Axes, Placement, guessed_unit_mm, lay_out
from referral.core.measure.readings import Caveat, Measured, Reading
from referral.core.measure.reasons import (
    NO_SCALE,
    absent_reasons,
    no_way_up,
    photo_no_scale,
    refused_readings,
)
from referral.core.measure.registry import measure_of
from referral.core.measure.uncertainty import first_order, monte_carlo
from referral.core.measure.views import VIEWS, View

DEFAULT_LANDMARK_SD_MM = 0.5
GREATEST_SD_MM = 20.0
OBLIQUE_UP_TO_DEG = 20.0
OBLIQUE_U = (1.0 / math.cos(math.radians(OBLIQUE_UP_TO_DEG)) - 1.0) / math.sqrt(3.0)
"""Relative u of lengths along the ground on a film that is not square to the foot.

Rectangular up to a foot turned by 20 degrees, lengths x cos(turn); the loss of rotation on
real feet is larger than this plane model's (Koblik 1988, JAVMA 192:346-349).
"""

DRAWS = 10_000
SEED = 20_010_706


@dataclass(frozen=True, slots=True)
class Film:
    """A film as placed: landmarks in picture pixels, or already in the foot frame in mm.

    ``size_px`` is width and height. ``landmark_sd_mm`` is the standard deviation of placing
    a landmark; ``sd_given`` says that it was stated for this film and holds for all of them.
    ``shod`` is ``yes no unknown``, ``trim`` is ``before after unknown``.
    ``landmark_sds_mm`` are the SDs of single landmarks, such as a person's own from repeated
    placements; they come before all others. On a photo ``scale_length_mm`` is the known
    length from ``scale_a`` to ``scale_b``, and ``cannon_vertical`` says how the horse stood.
    """

    view: str
    landmarks_px: Mapping[str, Any] | None
    landmarks_mm: Mapping[str, Any] | None
    scale: Scale
    size_px: tuple[int, int] | None
    landmark_sd_mm: float = DEFAULT_LANDMARK_SD_MM
    shod: str = "no"
    taken_on: date | None = None
    trim: str = "before"
    condyles_superimposed: bool | None = None
    sd_given: bool = False
    landmark_sds_mm: Mapping[str, float] | None = None
    scale_length_mm: float | None = None
    cannon_vertical: bool | None = None

    @property
    def is_photo(self) -> bool:
        """Return whether the picture is a photo, whose readings are external guides."""
        return self.view in VIEWS and VIEWS[self.view].is_photo

    @property
    def scale_in_force(self) -> Scale:
        """Return the scale that holds: on a photo that of its known length, if it has one."""
        length_mm, landmarks = self.scale_length_mm, self.landmarks_px
        if length_mm is None or landmarks is None or not self.is_photo:
            return self.scale
        return photo_scale(
            self.view,
            landmarks,
            length_mm,
            otherwise=self.scale,
            size_px=self.size_px,
            end_sd_mm=_sd_mm(self, "scale_a"),
        )

    @property
    def scale_state(self) -> str:
        """Return the scale's state, or ``foot_frame`` for landmarks in millimetres.

        A photo's is ``external``, or ``none``: its lengths are not a film's.
        """
        if self.is_photo:
            scaled = self.landmarks_mm is not None or self.scale_in_force.row_mm is not None
            return "external" if scaled else "none"
        return self.scale.state if self.landmarks_mm is None else "foot_frame"


def foot_points(film: Film) -> dict[str, Floats]:
    """Return the film's landmarks in the foot frame.

    Returns
    -------
    dict of str to ndarray
        Name -> (2,), or (k, 2) for ``p2_condyle``: mm (pixels of the film's aspect if it has
        no scale), x to the toe (or lateral), y up from the ground. Empty when the ground
        points or all that lies above them are missing.

    Raises
    ------
    CoreError
        As for `measure`.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> film = Film("lateromedial", None, {"p3_tip": [0, 15]}, no_scale(), None)
    >>> foot_points(film)["p3_tip"].tolist()
    [0.0, 15.0]
    """
    placed = placement(film)
    if placed is None or not _stands_on_ground(film, placed):
        return {}
    return placed.points(placed.x0)


def placement(film: Film) -> Placement | None:
    """Return the film's landmarks as inputs with their uncertainty, for error propagation.

    ``None`` when the landmarks give no frame. Without ground points the frame may stand on
    the coffin bone's lower edge; only readings that need no ground hold there.

    Raises
    ------
    CoreError
        As for `measure`.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> placed = placement(Film("lateromedial", None, {"p3_tip": [0, 15]}, no_scale(), None))
    >>> placed.x0.tolist(), placed.u.tolist()
    ([0.0, 15.0, 1.0, 1.0], [0.5, 0.5, 0.0, 0.0])
    """
    view = _view(film)
    root, landmarks = _root(film), _landmarks(film)
    axes = None if film.landmarks_mm is not None else _axes(view, landmarks)
    if not landmarks or (axes is None and film.landmarks_mm is None):
        return None
    placed = _place(film, landmarks, axes)
    points = _standing(placed, root)
    if axes is None:
        check_above(points, view.lowest_bone, root)
    check_order(points, view.rear_to_front, root)
    check_sides(points, view.across, root)
    swapped = [pair for pair in view.ordered if is_upside_down(points, *pair)]
    for upper, lower in swapped:
        landmarks[upper], landmarks[lower] = landmarks[lower], landmarks[upper]
    return _place(film, landmarks, axes) if swapped else placed


def measure(film: Film) -> Measured:
    """Return every reading that the film's landmarks and scale allow.

    Returns
    -------
    Measured
        Readings with their standard uncertainty, the absent ones with the reason, caveats.
        Frame, signs and units as in the registry.

    Raises
    ------
    UnknownLandmark
        If the view has no landmark of a name.
    NotFinite
        If a coordinate is NaN or infinite.
    DegenerateLine
        If two landmarks that span a line lie on one spot, or what must stand above the
        ground lies on it.
    DegenerateCircle
        If the condyle's points lie on a straight line.
    CoreError
        If the view is not known, a point lies outside the picture, the foot stands the wrong
        way round, the landmark SD is not from 0 to 20 mm, or there is not exactly one set of
        landmarks.

    Notes
    -----
    Uncertainty: JCGM 100:2008 section 5, from the landmarks' SD, the scale's relative u and
    the obliquity. The condyle centre from an arc below 90 degrees is far from linear in its
    points, so its readings take their u from a seeded Monte Carlo (JCGM 101:2008).

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> points = {"p3_tip": [0, 15], "p3_palmar_process": [-71.726, 21.275]}
    >>> found = measure(Film("lateromedial", None, points, no_scale(), None))
    >>> reading = found.readings["palmar_angle_deg"]
    >>> round(reading.value, 2), round(reading.u, 2), found.absent["heel_arm_mm"]
    (5.0, 0.56, 'needs p2_condyle and heel')
    """
    view = _view(film)
    placed = placement(film)
    absent = absent_reasons(
        view,
        _usable_names(film),
        shod=film.shod,
        in_mm=film.landmarks_mm is not None,
        scale=film.scale_in_force,
        no_scale=photo_no_scale(film.landmarks_px or {}, film.scale_length_mm)
        if film.is_photo
        else NO_SCALE,
        refused=refused_readings(cannon_vertical=film.cannon_vertical),
    )
    fit = None if placed is None else condyle_fit(placed, _root(film))
    values = {} if placed is None else _values(view, placed, fit)
    readings = {
        code: _reading(film, code, value, u)
        for code, (value, u) in values.items()
        if code not in absent and math.isfinite(value) and math.isfinite(u)
    }
    why = no_way_up(view) if placed is None else "the lines it is read between do not meet"
    for code in view.needs:
        if code not in readings:
            absent.setdefault(code, why)
    return Measured(
        MappingProxyType(readings), MappingProxyType(absent), _caveats(film, placed, fit)
    )


def _view(film: Film) -> View:
    view = VIEWS.get(film.view)
    if view is None:
        known = ", ".join(VIEWS)
        raise CoreError(f"There is no view {film.view!r}; it is one of {known}.", at="film.view")
    return view


def _root(film: Film) -> str:
    return "film.landmarks_px" if film.landmarks_mm is None else "film.landmarks_mm"


def _landmarks(film: Film) -> dict[str, Floats]:
    """Return the landmarks, picture in mm (or aspect pixels) or foot frame in mm."""
    if film.landmarks_mm is not None and film.landmarks_px is not None:
        raise CoreError("Give landmarks_px or landmarks_mm, not both.", at="film.landmarks_mm")
    root, given = _root(film), _given(film)
    if given is None:
        raise CoreError("A film needs landmarks_px or landmarks_mm.", at="film")
    size_px = film.size_px if film.landmarks_mm is None else None
    points = checked_landmarks(film.view, given, root, size_px)
    if film.landmarks_mm is None:
        row, column = _spacing(film.scale_in_force)
        points = {name: pixels_to_mm(each, row, column) for name, each in points.items()}
    check_lines(points, VIEWS[film.view].lines, root)
    return points


def _given(film: Film) -> Mapping[str, Any] | None:
    return film.landmarks_px if film.landmarks_mm is None else film.landmarks_mm


def _spacing(scale: Scale) -> tuple[float, float]:
    """Return what a pixel measures down and across, in mm or, without scale, in its aspect."""
    if scale.row_mm is None or scale.column_mm is None:
        down, across = scale.aspect
        return down, across
    return scale.row_mm, scale.column_mm


def _axes(view: View, landmarks: Mapping[str, Floats]) -> Axes | None:
    above = [name for name in view.above if name in landmarks]
    if landmarks.keys() >= set(view.frame):
        rear, *other, front = view.frame
        return Axes(rear, front, above[0], *other) if above else None
    stand_in = view.stand_in
    if stand_in and landmarks.keys() >= {stand_in.rear, stand_in.front, stand_in.above}:
        return stand_in
    return None


def _standing(placed: Placement, root: str) -> dict[str, Floats]:
    try:
        return placed.points(placed.x0)
    except DegenerateLine as error:
        above = placed.axes.above if placed.axes else ""
        message = error.message
        if placed.axes and placed.axes.other_rear:
            message = f"{above} lies on the foot's middle line, or the toe lies at the heels."
        raise DegenerateLine(message, at=f"{root}.{above}") from error


def _stands_on_ground(film: Film, placed: Placement) -> bool:
    return placed.axes is None or placed.axes.rear == _view(film).frame[0]


def _place(film: Film, landmarks: Mapping[str, Floats], axes: Axes | None) -> Placement:
    every, spans = lay_out(landmarks)
    has_scale = film.landmarks_mm is not None or film.scale_in_force.row_mm is not None
    unit_mm = 1.0 if has_scale else guessed_unit_mm(_view(film).known_size, landmarks, every)
    sd_mm = _landmark_sds(film, spans, len(every))
    shared = _shared_u(film) if sd_mm.any() else (0.0, 0.0)
    u = np.concatenate([np.repeat(sd_mm / unit_mm, 2), shared])
    return Placement(np.concatenate([every.ravel(), [1.0, 1.0]]), u, spans, axes, unit_mm)


def _shared_u(film: Film) -> tuple[float, float]:
    """Return the u of what all points share: the scale, and the stretch along the ground."""
    in_mm = film.landmarks_mm is not None
    scale_u = 0.0 if in_mm else film.scale_in_force.relative_u
    if film.is_photo:
        # The known length leans as the foot does, whichever way it lies.
        return (0.0, 0.0) if in_mm else (math.hypot(scale_u, TILT_U), TILT_U)
    return scale_u, OBLIQUE_U if film.condyles_superimposed is False else 0.0


def _landmark_sds(film: Film, spans: Mapping[str, slice | int], count: int) -> Floats:
    sds = np.empty(count)
    for name, span in spans.items():
        sds[span] = _sd_mm(film, name)
    return sds


def _sd_mm(film: Film, name: str) -> float:
    """Return the landmark's SD: its own, the stated one, or the view's, in this order."""
    own = film.landmark_sds_mm or {}
    sd, at = film.landmark_sd_mm, "film.landmark_sd_mm"
    if name in own:
        sd, at = own[name], f"film.landmark_sds_mm.{name}"
    elif not film.sd_given and sd == DEFAULT_LANDMARK_SD_MM:
        sd = _view(film).sds_mm.get(name, sd)
    if not 0.0 <= sd <= GREATEST_SD_MM:
        raise CoreError(f"The landmark SD must be from 0 to {GREATEST_SD_MM:g} mm.", at=at)
    return sd


def _usable_names(film: Film) -> frozenset[str]:
    return frozenset(
        name
        for name, points in (_given(film) or {}).items()
        if name not in SEVERAL_POINTS or len(points) >= FEWEST_POINTS
    )


def _values(
    view: View, placed: Placement, fit: CondyleFit | None
) -> dict[str, tuple[float, float]]:
    def model(x: Floats) -> dict[str, Floats]:
        return view.readings(placed.points(x))

    values = first_order(model, placed.x0, placed.u)
    if fit is None or not fit.is_short or not placed.u.any():
        return values

    def centre(x: Floats) -> dict[str, Floats]:
        found = model(x)
        return {code: found[code] for code in CENTRE_READINGS if code in found}

    rng = np.random.default_rng(SEED)
    return values | monte_carlo(centre, placed.x0, placed.u, DRAWS, rng)


def _reading(film: Film, code: str, value: float, u: float) -> Reading:
    in_mm = film.landmarks_mm is not None
    basis = "photo" if film.is_photo else ("foot_frame" if in_mm else "film")
    kind = measure_of(code)
    return Reading(code, value, u, kind.unit, film.scale_state, basis, convention=kind.convention)


def _caveats(film: Film, placed: Placement | None, fit: CondyleFit | None) -> tuple[Caveat, ...]:
    scale = film.scale_in_force if film.landmarks_mm is None else None
    found = () if scale is None else scale_caveats(scale, is_placed=placed is not None)
    if film.is_photo:
        return (PHOTO_GUIDE, *found)
    if fit is not None:
        found += condyle_caveats(fit)
    return found if film.condyles_superimposed is not False else (*found, OBLIQUE[film.view])
