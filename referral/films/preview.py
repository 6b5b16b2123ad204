"""Readings of landmarks that are on screen and not kept."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from referral.core.errors import CoreError
from referral.core.measure.film import Film as CoreFilm
from referral.core.measure.film import measure
from referral.core.measure.readings import Measured
from referral.errors import Invalid
from referral.films.queries import MeasuredFilm
from referral.films.scales import scale_from_given


@dataclass(frozen=True, slots=True)
class OnScreen:
    """What stands in the editor: landmarks, the scale if it is set anew, the placer's own SDs."""

    points_px: Mapping[str, Any]
    scale_given: Mapping[str, Any] | None
    own_sds_mm: Mapping[str, float]


def preview(film: MeasuredFilm, shown: OnScreen) -> tuple[Measured, CoreFilm]:
    """Return what these landmarks read, and the film as it is on screen.

    Raises
    ------
    Invalid
        If the landmarks or the scale cannot be used; says why.
    """
    try:
        placed = {name: np.asarray(at, float) for name, at in shown.points_px.items()}
        own = dict(shown.own_sds_mm) or None
        on_screen = replace(film.as_core(), landmarks_px=placed, landmark_sds_mm=own)
        given = shown.scale_given
        if given is not None:
            length = given.get("length_mm") if given["kind"] == "length" else None
            scale = scale_from_given(given)
            on_screen = replace(on_screen, scale=scale, scale_length_mm=length)
        return measure(on_screen), on_screen
    except CoreError as error:
        raise Invalid(error.message, {"landmarks": [error.message]}) from error
