"""Readings of landmarks that are on screen and not kept."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from referral.core.errors import CoreError
from referral.core.measure.film import Film as CoreFilm
from referral.core.measure.film import measure
from referral.core.measure.readings import Measured
from referral.errors import Invalid
from referral.films.queries import MeasuredFilm
from referral.films.scales import scale_from_given


def preview(
    film: MeasuredFilm, points: Mapping[str, Any], scale_given: Mapping[str, Any] | None
) -> tuple[Measured, CoreFilm]:
    """Return what these landmarks read, and the film as it is on screen.

    Raises
    ------
    Invalid
        If the landmarks or the marker cannot be used; says why.
    """
    try:
        placed = {name: np.asarray(at, float) for name, at in points.items()}
        on_screen = replace(film.as_core(), landmarks_px=placed)
        if scale_given is not None:
            length = scale_given.get("length_mm") if scale_given["kind"] == "length" else None
            scale = scale_from_given(scale_given)
            on_screen = replace(on_screen, scale=scale, scale_length_mm=length)
        return measure(on_screen), on_screen
    except CoreError as error:
        raise Invalid(error.message, {"landmarks": [error.message]}) from error
