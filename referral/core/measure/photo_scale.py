"""The scale of a photo: a known length that lies in the plane to be measured."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from referral.core.errors import BadScale
from referral.core.geometry.points import are_apart
from referral.core.geometry.scale import Scale, marker_scale
from referral.core.measure.checks import Size, checked_landmarks
from referral.core.measure.sole_photo import SCALE_ENDS

TILTED_UP_TO_DEG = 10.0
TILT_U = (1.0 / math.cos(math.radians(TILTED_UP_TO_DEG)) - 1.0) / math.sqrt(3.0)
"""Relative u of lengths along the foot on a photo taken by hand.

Rectangular up to a camera held 10 degrees off square (common practice, no source).
"""


def photo_scale(
    view: str,
    landmarks_px: Mapping[str, Any],
    length_mm: float,
    *,
    otherwise: Scale,
    size_px: Size | None,
    end_sd_mm: float,
) -> Scale:
    """Return the scale that a known length on the photo gives.

    Parameters
    ----------
    view : str
        The photo's view.
    landmarks_px : mapping
        The photo's landmarks; ``scale_a`` and ``scale_b`` are the length's ends.
    length_mm : float
        How long it is, in mm.
    otherwise : Scale
        The photo's scale where an end is missing; it also holds the pixels' aspect.
    size_px : tuple of int or None
        Width and height of the photo.
    end_sd_mm : float
        Standard deviation of placing an end, in mm.

    Raises
    ------
    BadScale
        If both ends lie on one spot, or the length is not positive and finite.
    CoreError
        If an end is no point of the picture.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> ends = {"scale_a": [0, 0], "scale_b": [400, 0]}
    >>> known = dict(otherwise=no_scale(), size_px=(500, 500), end_sd_mm=0.5)
    >>> photo_scale("sole_photo", ends, 100.0, **known).row_mm
    0.25
    """
    placed = {name: landmarks_px[name] for name in SCALE_ENDS if name in landmarks_px}
    if len(placed) < len(SCALE_ENDS):
        return otherwise
    points = checked_landmarks(view, placed, "film.landmarks_px", size_px)
    first, second = (points[name] for name in SCALE_ENDS)
    if not are_apart(first, second):
        raise BadScale(
            "scale_a and scale_b lie on one spot; place them at the two ends.",
            at="film.landmarks_px.scale_b",
        )
    try:
        return marker_scale(
            np.stack([first, second]),
            length_mm,
            pixel_aspect=otherwise.aspect,
            end_sd_mm=end_sd_mm,
        )
    except BadScale as error:
        raise BadScale(error.message, at="film.scale_length_mm") from error
