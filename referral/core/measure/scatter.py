"""A person's own scatter: how far apart their placements of one landmark lie."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from referral.core.errors import CoreError
from referral.core.geometry.frames import pixels_to_mm
from referral.core.geometry.points import Floats, as_points
from referral.core.measure.landmarks import SEVERAL_POINTS

FEWEST_FREE = 4
"""Fewest degrees of freedom that are believed: three placements of a point on one picture."""

FINEST_SD_MM = 0.1
COARSEST_SD_MM = 20.0
"""Within these an SD is believed: nobody's hand is exact (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Repeats:
    """One picture whose landmarks one person placed several times.

    ``placements_px`` holds, per time, landmark name -> (x, y) in pixels; ``row_mm`` and
    ``column_mm`` are the picture's scale in mm a pixel, down and across.
    """

    placements_px: Sequence[Mapping[str, Any]]
    row_mm: float
    column_mm: float


@dataclass(frozen=True, slots=True)
class Scatter:
    """One landmark's SD in mm along one axis, from how many placements on how many pictures."""

    sd_mm: float
    placements: int
    pictures: int

    @property
    def degrees_of_freedom(self) -> int:
        """How many independent differences the SD rests on: two for each placement repeated."""
        return 2 * (self.placements - self.pictures)

    @property
    def is_enough(self) -> bool:
        """Whether there are enough of them for the SD to be used."""
        return self.degrees_of_freedom >= FEWEST_FREE


def own_scatter(pictures: Sequence[Repeats]) -> dict[str, Scatter]:
    """Return a person's own scatter for each landmark placed more than once on a picture.

    Parameters
    ----------
    pictures : sequence of Repeats
        Pictures of any feet in one view, all placed by one person.

    Returns
    -------
    dict of str to Scatter
        Landmark name -> SD in mm along one axis of the picture, pooled over the pictures:
        the root of the sum of squares round each picture's own mean, over the degrees of
        freedom. Landmarks that are a row of points are left out: where on its arc a point
        is put is no error.

    Raises
    ------
    CoreError
        If a placement is not one point, or a spacing is not above zero.
    NotFinite
        If a coordinate is NaN or infinite.

    Notes
    -----
    Source: JCGM 100:2008, 4.2.4 and H.5 (pooled estimate from repeated observations).

    Examples
    --------
    >>> times = [{"toe": [10, 20]}, {"toe": [14, 20]}, {"toe": [12, 23]}]
    >>> scatter = own_scatter([Repeats(times, 0.25, 0.25)])["toe"]
    >>> round(scatter.sd_mm, 3), scatter.placements, scatter.is_enough
    (0.468, 3, True)
    """
    squares: dict[str, float] = {}
    counts: dict[str, list[int]] = {}
    for number, picture in enumerate(pictures):
        for name, points in _by_landmark(picture, f"pictures[{number}]").items():
            if len(points) > 1:
                spread = float(((points - points.mean(axis=0)) ** 2).sum())
                squares[name] = squares.get(name, 0.0) + spread
                counts.setdefault(name, []).append(len(points))
    found = {}
    for name, each in counts.items():
        free = 2 * (sum(each) - len(each))
        found[name] = Scatter(math.sqrt(squares[name] / free), sum(each), len(each))
    return found


def own_sds_mm(scatter: Mapping[str, Scatter]) -> dict[str, float]:
    """Return the SDs that a film takes as ``landmark_sds_mm``, in mm.

    Only landmarks with enough repeats are there: the others keep the usual SD. An SD finer
    than 0.1 mm counts as 0.1 mm, one above 20 mm as 20 mm.

    Examples
    --------
    >>> own_sds_mm({"toe": Scatter(0.4, 3, 1), "heel": Scatter(0.4, 2, 1)})
    {'toe': 0.4}
    """
    return {
        name: min(max(each.sd_mm, FINEST_SD_MM), COARSEST_SD_MM)
        for name, each in scatter.items()
        if each.is_enough
    }


def _by_landmark(picture: Repeats, root: str) -> dict[str, Floats]:
    """Return name -> placements (k, 2) in mm, picture frame."""
    spacing = (picture.row_mm, picture.column_mm)
    if not all(math.isfinite(each) and each > 0.0 for each in spacing):
        raise CoreError("Repeats need a scale, in mm a pixel, above zero.", at=f"{root}.row_mm")
    rows: dict[str, list[Floats]] = {}
    for time, placed in enumerate(picture.placements_px):
        for name, raw in placed.items():
            if name in SEVERAL_POINTS:
                continue
            at = f"{root}.placements_px[{time}].{name}"
            point = as_points(raw, at=at)
            if point.ndim != 1:
                raise CoreError(f"{name} is one point, [x, y].", at=at)
            rows.setdefault(name, []).append(point)
    return {name: pixels_to_mm(np.stack(each), *spacing) for name, each in rows.items()}
