"""From pixels to millimetres: four states of a film's scale, and what they rest on.

States: ``marker`` (a rod of known length placed on this film), ``corrected`` (the maker of
the machine corrected the spacing), ``estimated`` (detector spacing over a magnification),
``none``. Source: DICOM PS3.3 section 10.7, pixel spacing calibration.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from referral.core.errors import BadScale
from referral.core.geometry.magnification import plane_factor, positive, source_to_foot_mm
from referral.core.geometry.points import Floats
from referral.core.geometry.tag_numbers import number_in, pair_in

END_SD_MM = 0.5
FIDUCIAL_U = 0.01
GEOMETRY_U = 0.05
ESTIMATED_U = 0.05
ESTIMATES_AGREE = 0.02
SAME_SPACING = 1e-4
FAR_OFF = 0.10


@dataclass(frozen=True, slots=True)
class ScaleSource:
    """One thing that says how large a pixel is: where from, row and column in mm, its state."""

    origin: str
    row_mm: float
    column_mm: float
    state: str
    relative_u: float


@dataclass(frozen=True, slots=True)
class Scale:
    """Millimetres a pixel in the foot's sagittal plane, row (down) before column (across).

    Both are None when the state is ``none``; ``aspect`` (vertical, horizontal) then keeps
    angles right. ``relative_u`` is the relative standard uncertainty of the spacing.
    """

    state: str
    row_mm: float | None
    column_mm: float | None
    relative_u: float
    conflict: bool = False
    sources: tuple[ScaleSource, ...] = ()
    warnings: tuple[str, ...] = ()
    aspect: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True, slots=True)
class ScaleTags:
    """What a DICOM file says of its pixels, each value as the text that stands in it."""

    pixel_spacing: str | None = None
    imager_pixel_spacing: str | None = None
    nominal_scanned_pixel_spacing: str | None = None
    pixel_aspect_ratio: str | None = None
    calibration_type: str | None = None
    distance_source_to_detector: str | None = None
    distance_source_to_patient: str | None = None
    magnification: str | None = None


def no_scale(pixel_aspect: tuple[float, float] = (1.0, 1.0)) -> Scale:
    """Return the scale of a film without one: angles and ratios only.

    Raises
    ------
    BadScale
        If the aspect is not two positive numbers.

    Examples
    --------
    >>> no_scale().state
    'none'
    """
    return Scale("none", None, None, 0.0, aspect=_aspect(pixel_aspect))


def marker_scale(  # noqa: PLR0913 - all of it describes one marker
    ends_px: Floats,
    length_mm: float,
    *,
    plane: str = "sagittal",
    offset_mm: float | None = None,
    sid_mm: float | None = None,
    oid_mm: float | None = None,
    pixel_aspect: tuple[float, float] = (1.0, 1.0),
    end_sd_mm: float = END_SD_MM,
) -> Scale:
    """Return the scale that a rod of known length on the film gives.

    ``ends_px`` has shape (2, 2): x, y of each end in picture pixels. A rod nearer the tube
    or the plate than the foot's middle is corrected by the ratio of their distances from
    the tube; ``oid_mm`` is the foot's distance from the plate. A rod in a plane that nobody
    knows gives an estimate only. The relative u is the square root of two times the
    standard deviation of placing an end, over the rod's length.

    Raises
    ------
    BadScale
        If the ends coincide, a number is not positive and finite, the plane is unknown to
        this function, or a plane off the middle comes without its distances.

    Notes
    -----
    Source: similar triangles; M = SID / (SID - OID).

    Examples
    --------
    >>> round(marker_scale(np.array([[0, 0], [0, 483.9]]), 60.0).row_mm, 4)
    0.124
    """
    vertical, horizontal = _aspect(pixel_aspect)
    run = np.diff(np.asarray(ends_px, float), axis=0)[0] * (horizontal, vertical)
    long_px = float(np.hypot(*run))
    if not math.isfinite(long_px) or long_px == 0.0:
        raise BadScale("The two ends of the marker lie on one spot.", at="film.scale.ends_px")
    positive(length_mm, "film.scale.length_mm")
    per_px = length_mm / long_px * plane_factor(plane, offset_mm, sid_mm, oid_mm)
    relative_u = math.sqrt(2.0) * end_sd_mm / length_mm
    state = "marker"
    warnings: tuple[str, ...] = ()
    if plane == "unknown":
        state, relative_u = "estimated", ESTIMATED_U
        warnings = ("The marker's plane is not known, so the scale is only estimated.",)
    row, column = per_px * vertical, per_px * horizontal
    source = ScaleSource("marker on the film", row, column, state, relative_u)
    return Scale(state, row, column, relative_u, False, (source,), warnings, (row, column))


def spacing_scale(
    row_mm: float, column_mm: float, state: str, calibration: str | None = None
) -> Scale:
    """Return the scale of a stated spacing: corrected, estimated, or none worth the name.

    A spacing of state ``none`` gives no millimetres but keeps angles right on pixels that
    are not square. ``calibration`` fiducial has a relative u of 1 %, any other 5 %.

    Raises
    ------
    BadScale
        If a number is not positive and finite, or the state is none of the three.

    Notes
    -----
    Source: DICOM PS3.3 section 10.7; the relative u are common practice, no source.

    Examples
    --------
    >>> spacing_scale(0.13, 0.13, "corrected", "fiducial").relative_u
    0.01
    """
    positive(row_mm, "film.scale.row_mm")
    positive(column_mm, "film.scale.column_mm")
    if state not in ("corrected", "estimated", "none"):
        raise BadScale(f"There is no spacing of state {state!r}.", at="film.scale.state")
    if state == "none":
        return Scale("none", None, None, 0.0, aspect=(row_mm, column_mm))
    u = ESTIMATED_U if state == "estimated" else _calibration_u(calibration)
    source = ScaleSource("stated spacing", row_mm, column_mm, state, u)
    return Scale(state, row_mm, column_mm, u, False, (source,), (), (row_mm, column_mm))


def _calibration_u(calibration: str | None) -> float:
    return FIDUCIAL_U if (calibration or "").strip().lower() == "fiducial" else GEOMETRY_U


def detector_scale(
    row_mm: float,
    column_mm: float,
    *,
    magnification: float | None = None,
    sid_mm: float | None = None,
    oid_mm: float | None = None,
) -> Scale:
    """Return the scale of detector spacing over a magnification: an estimate, or none without.

    A magnification and distances that disagree by over 2 % are a conflict: state ``none``.

    Raises
    ------
    BadScale
        If a number is not finite, a spacing not positive, the magnification below 1, or the
        foot not between tube and plate.

    Notes
    -----
    Source: M = SID / (SID - OID), similar triangles.

    Examples
    --------
    >>> round(detector_scale(0.14, 0.14, sid_mm=700, oid_mm=80).row_mm, 4)
    0.124
    """
    positive(row_mm, "film.scale.row_mm")
    positive(column_mm, "film.scale.column_mm")
    sources = []
    for origin, factor in _magnifications(magnification, sid_mm, oid_mm):
        sources.append(
            ScaleSource(origin, row_mm / factor, column_mm / factor, "estimated", ESTIMATED_U)
        )
    bare = ScaleSource("detector spacing", row_mm, column_mm, "none", 0.0)
    return _settle((*sources, bare), (row_mm, column_mm))


def _magnifications(
    magnification: float | None, sid_mm: float | None, oid_mm: float | None
) -> list[tuple[str, float]]:
    found = []
    if magnification is not None:
        if not math.isfinite(magnification) or magnification < 1.0:
            raise BadScale("A magnification is at least 1.", at="film.scale.magnification")
        found.append(("detector spacing over the magnification", magnification))
    if sid_mm is not None and oid_mm is not None:
        factor = sid_mm / source_to_foot_mm(sid_mm, oid_mm)
        found.append(("detector spacing over SID / (SID - OID)", factor))
    return found


def scale_from_tags(tags: ScaleTags) -> Scale:
    r"""Return the scale that a DICOM file's own attributes give; never raises.

    Corrected: pixel spacing that differs from the detector's, or one with a calibration
    type. Estimated: detector spacing over the stated magnification, or over the ratio of
    distances. Spacing equal to the detector's, spacing of unknown origin and that of a
    scanned film give none. Sources that disagree are a conflict: state ``none``.

    Notes
    -----
    Source: DICOM PS3.3 section 10.7.1.3 (order row, column) and section 10.7.

    Examples
    --------
    >>> scale_from_tags(ScaleTags(imager_pixel_spacing=r"0.150\0.150")).state
    'none'
    """
    pixel, imager = pair_in(tags.pixel_spacing), pair_in(tags.imager_pixel_spacing)
    scanned = pair_in(tags.nominal_scanned_pixel_spacing)
    plate = imager or scanned
    sources = [*_pixel_spacing_sources(pixel, plate, tags)]
    if imager is not None:
        sources += _imager_sources(imager, tags)
    if scanned is not None:
        sources.append(ScaleSource("scanned film spacing", *scanned, "none", 0.0))
    known = pixel or plate
    aspect = known or pair_in(tags.pixel_aspect_ratio, largest=math.inf) or (1.0, 1.0)
    said = _unusable(tags)
    if _contradicts_itself(pixel, plate, tags):
        said = (*said, "The file calls its spacing calibrated, yet it is the plate's or larger.")
        return Scale("none", None, None, 0.0, True, tuple(sources), said, aspect)
    settled = _settle(tuple(sources), aspect)
    return replace(settled, warnings=(*said, *settled.warnings))


def _unusable(tags: ScaleTags) -> tuple[str, ...]:
    """Return a sentence for each spacing that is written in the file and says nothing."""
    spacings = (
        ("pixel spacing", tags.pixel_spacing),
        ("detector spacing", tags.imager_pixel_spacing),
        ("scanned film spacing", tags.nominal_scanned_pixel_spacing),
    )
    return tuple(
        f"The file's {name} ({text.strip()}) cannot be used."
        for name, text in spacings
        if text and text.strip(" \0") and pair_in(text) is None
    )


def _contradicts_itself(
    pixel: tuple[float, float] | None, plate: tuple[float, float] | None, tags: ScaleTags
) -> bool:
    if pixel is None or plate is None:
        return False
    if _same(pixel, plate):
        return bool((tags.calibration_type or "").strip())
    return any(
        mine > theirs * (1.0 + SAME_SPACING) for mine, theirs in zip(pixel, plate, strict=True)
    )


def _pixel_spacing_sources(
    pixel: tuple[float, float] | None, plate: tuple[float, float] | None, tags: ScaleTags
) -> list[ScaleSource]:
    if pixel is None:
        return []
    is_typed = bool((tags.calibration_type or "").strip())
    differs = plate is not None and not _same(pixel, plate)
    if differs or is_typed:
        u = _calibration_u(tags.calibration_type)
        return [ScaleSource("corrected pixel spacing", *pixel, "corrected", u)]
    return [ScaleSource("pixel spacing, not corrected", *pixel, "none", 0.0)]


def _imager_sources(imager: tuple[float, float], tags: ScaleTags) -> list[ScaleSource]:
    row, column = imager
    sources = [ScaleSource("detector spacing", row, column, "none", 0.0)]
    factor = number_in(tags.magnification)
    if factor is not None and factor >= 1.0:
        origin = "detector spacing over the stated magnification"
        sources.append(ScaleSource(origin, row / factor, column / factor, "estimated", ESTIMATED_U))
    sid = number_in(tags.distance_source_to_detector)
    sod = number_in(tags.distance_source_to_patient)
    if sid is not None and sod is not None and 0.0 < sod <= sid:
        origin = "detector spacing over the ratio of distances"
        shrink = sod / sid
        sources.append(ScaleSource(origin, row * shrink, column * shrink, "estimated", ESTIMATED_U))
    return sources


def _settle(sources: tuple[ScaleSource, ...], aspect: tuple[float, float]) -> Scale:
    usable = [each for each in sources if each.state != "none"]
    if not usable:
        return Scale("none", None, None, 0.0, False, sources, (), aspect)
    for place, first in enumerate(usable):
        for second in usable[place + 1 :]:
            if _apart(first, second) > _allowed(first, second):
                said = f"{first.origin} and {second.origin} disagree; neither is used."
                return Scale("none", None, None, 0.0, True, sources, (said,), aspect)
    best = min(usable, key=lambda each: each.state == "estimated")
    return Scale(
        best.state, best.row_mm, best.column_mm, best.relative_u, False, sources, (), aspect
    )


def beside_marker(marker: Scale, film: Scale) -> Scale:
    """Return the marker's scale with what the film's own sources say beside it.

    A marker outranks an estimate, with a warning when they are over 10 % apart; a corrected
    spacing that disagrees with it beyond both uncertainties is a conflict. A marker in a
    plane that nobody knows is itself an estimate among others. A film whose own sources are
    in conflict keeps the marker, and says so.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> rod = marker_scale(np.array([[0, 0], [0, 100]]), 10.0)
    >>> beside_marker(rod, spacing_scale(0.2, 0.2, "corrected")).conflict
    True
    """
    sources = (*marker.sources, *film.sources)
    said = (*marker.warnings, *film.warnings)
    usable = [] if film.conflict else [each for each in film.sources if each.state != "none"]
    if marker.state == "estimated" and usable:
        settled = _settle(sources, marker.aspect)
        return replace(settled, warnings=(*said, *settled.warnings))
    for source in usable:
        apart = _apart(marker.sources[0], source)
        if source.state == "estimated":
            if apart > FAR_OFF:
                said = (*said, f"The marker and {source.origin} are {apart:.0%} apart.")
        elif apart > _allowed(marker.sources[0], source):
            said = (*said, f"The marker and {source.origin} disagree; neither is used.")
            return Scale("none", None, None, 0.0, True, sources, said, marker.aspect)
    return replace(marker, sources=sources, warnings=said)


def _apart(first: ScaleSource, second: ScaleSource) -> float:
    rows = abs(first.row_mm - second.row_mm) / min(first.row_mm, second.row_mm)
    columns = abs(first.column_mm - second.column_mm) / min(first.column_mm, second.column_mm)
    return max(rows, columns)


def _allowed(first: ScaleSource, second: ScaleSource) -> float:
    if first.state == second.state == "estimated":
        return ESTIMATES_AGREE
    return max(ESTIMATES_AGREE, 2.0 * math.hypot(first.relative_u, second.relative_u))


def _same(first: tuple[float, float], second: tuple[float, float]) -> bool:
    return all(
        math.isclose(mine, other, rel_tol=SAME_SPACING)
        for mine, other in zip(first, second, strict=True)
    )


def _aspect(given: Sequence[float]) -> tuple[float, float]:
    vertical, horizontal = float(given[0]), float(given[1])
    positive(vertical, "film.scale.pixel_aspect")
    positive(horizontal, "film.scale.pixel_aspect")
    return vertical, horizontal
