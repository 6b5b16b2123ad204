"""A scale as given (in a worksheet, on a page, in a file's tags) to a scale of the core."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from referral.core.errors import BadScale
from referral.core.geometry.scale import (
    Scale,
    ScaleTags,
    beside_marker,
    detector_scale,
    marker_scale,
    no_scale,
    scale_from_tags,
    spacing_scale,
)


def scale_from_given(given: Mapping[str, Any]) -> Scale:
    """Return the scale that a ``scale`` object of a worksheet, or of a film's tags, describes.

    Raises
    ------
    BadScale
        If its kind is none that is known, or its numbers cannot make a scale.
    """
    kind = given.get("kind")
    maker = _MAKERS.get(str(kind))
    if maker is None:
        raise BadScale(f"There is no scale of kind {kind!r}.", at="film.scale.kind")
    return maker(given)


def beside_the_files(given: Mapping[str, Any], own: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return a scale as somebody gives it, with what the film's own file says kept beside it."""
    return {**given, "beside": dict(own)} if own else dict(given)


def state_of(given: Mapping[str, Any]) -> str:
    """Return the state of a scale as given; a known length on a photo is of the foot itself."""
    return "external" if given.get("kind") == "length" else scale_from_given(given).state


def with_distances(
    own: Mapping[str, Any] | None, sid_mm: float, oid_mm: float
) -> dict[str, Any] | None:
    """Return the film's own scale with distances that the vet states; None without a spacing.

    The distances are tube to plate and foot to plate; they take the place of the file's own.
    """
    if not own or not own.get("imager_pixel_spacing"):
        return None
    stated = {
        "distance_source_to_detector": f"{sid_mm:g}",
        "distance_source_to_patient": f"{sid_mm - oid_mm:g}",
    }
    return {
        "kind": "tags",
        "tags": {**own, **stated},
        "stated": {"sid_mm": sid_mm, "oid_mm": oid_mm},
    }


def _marker(given: Mapping[str, Any]) -> Scale:
    own = _own(given)
    aspect = given.get("pixel_aspect") or own.aspect
    marker = marker_scale(
        np.asarray(given["ends_px"], float),
        float(given["length_mm"]),
        plane=given.get("plane", "sagittal"),
        offset_mm=given.get("offset_mm"),
        sid_mm=given.get("sid_mm"),
        oid_mm=given.get("oid_mm"),
        pixel_aspect=(float(aspect[0]), float(aspect[1])),
    )
    return beside_marker(marker, own)


def _own(given: Mapping[str, Any]) -> Scale:
    """Return the scale of the film's own file; a picture has none and square pixels."""
    own = given.get("beside")
    return scale_from_tags(ScaleTags(**own)) if own else no_scale()


def _spacing(given: Mapping[str, Any]) -> Scale:
    return spacing_scale(
        float(given["row_mm"]),
        float(given["column_mm"]),
        given["state"],
        given.get("calibration"),
    )


def _detector(given: Mapping[str, Any]) -> Scale:
    return detector_scale(
        float(given["row_mm"]),
        float(given["column_mm"]),
        magnification=given.get("magnification"),
        sid_mm=given.get("sid_mm"),
        oid_mm=given.get("oid_mm"),
    )


def _length(given: Mapping[str, Any]) -> Scale:
    """Return none: a known length is a scale only together with the landmarks at its ends."""
    return no_scale(_own(given).aspect)


def _none(given: Mapping[str, Any]) -> Scale:
    aspect = given.get("pixel_aspect") or (1.0, 1.0)
    return no_scale((float(aspect[0]), float(aspect[1])))


def _tags(given: Mapping[str, Any]) -> Scale:
    return scale_from_tags(ScaleTags(**given["tags"]))


_MAKERS: Mapping[str, Callable[[Mapping[str, Any]], Scale]] = {
    "marker": _marker,
    "spacing": _spacing,
    "detector": _detector,
    "length": _length,
    "none": _none,
    "tags": _tags,
}
