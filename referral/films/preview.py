"""Readings of landmarks that are on screen and not kept."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from referral.core.errors import CoreError
from referral.core.geometry.scale import Scale
from referral.core.measure.film import measure
from referral.core.measure.readings import Measured
from referral.errors import Invalid
from referral.films.queries import MeasuredFilm
from referral.films.scales import scale_from_given


def preview(
    film: MeasuredFilm, points: Mapping[str, Any], scale_given: Mapping[str, Any] | None
) -> tuple[Measured, Scale]:
    """Return what these landmarks read, and on which scale.

    Raises
    ------
    Invalid
        If the landmarks or the marker cannot be used; says why.
    """
    try:
        scale = film.scale if scale_given is None else scale_from_given(scale_given)
        placed = {name: np.asarray(at, float) for name, at in points.items()}
        return measure(replace(film.as_core(), landmarks_px=placed, scale=scale)), scale
    except CoreError as error:
        raise Invalid(error.message, {"landmarks": [error.message]}) from error
