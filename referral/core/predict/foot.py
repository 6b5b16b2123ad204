"""The foot that a plan starts from: as inputs with their uncertainty, bare, in its own frame."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from referral.core.geometry.circle import arc_deg
from referral.core.geometry.lines import slope_deg
from referral.core.geometry.points import Floats
from referral.core.measure.caveats import LEAST_ARC_DEG
from referral.core.measure.film import Film, foot_points, placement
from referral.core.measure.lateromedial import condyle_circle
from referral.core.predict.move import bearing_ends

Points = dict[str, Floats]

SCALE_INPUT = -2
"""Where a film's placement keeps its length scale."""

SCALES_TRIED = (0.8, 1.25)
"""A film without scale: what comes out the same for all of these needs no scale."""

SHOE_POINTS = frozenset({"toe", "heel", "breakover", "bearing_palmar", "bearing_dorsal"})
"""Points of the old device, or of the line where it sat: gone once it is off."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """An input that nobody stated, and other values it might as well have."""

    index: int
    wanted: str
    others: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Foot:
    """A foot as independent inputs ``x0`` with their standard uncertainties ``u``, shape (n,).

    ``shown`` takes inputs (..., n) to the landmarks as filmed or stated, ``bare`` to those of
    the foot with the old device off: name -> (..., 2), foot frame, mm, bearing line at y = 0.
    ``unknowns`` are placeholders among the inputs; ``length_states`` says, by input, from
    what scale a stated length comes, ``scale_state`` the one of all others.
    """

    x0: Floats
    u: Floats
    shown: Callable[[Floats], Points]
    bare: Callable[[Floats], Points]
    scale_state: str
    unknowns: tuple[Unknown, ...] = ()
    length_states: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))
    assumptions: tuple[str, ...] = ()
    is_arc_short: bool = False


def film_foot(film: Film) -> Foot | None:
    """Return the foot of a lateromedial film, or ``None`` if its landmarks give no foot frame.

    Parameters
    ----------
    film : Film
        ``shod`` is ``no``, or ``yes`` with both bearing points marked.

    Raises
    ------
    CoreError
        As for `referral.core.measure.film.measure`.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> film = Film("lateromedial", None, {"p3_tip": [0, 15]}, no_scale(), None)
    >>> film_foot(film).x0.tolist()
    [0.0, 15.0, 1.0, 1.0]
    """
    placed = placement(film)
    if placed is None or not foot_points(film):
        return None
    unscaled = film.scale_state == "none"
    index = len(placed.x0) + SCALE_INPUT
    tried = tuple(float(placed.x0[index]) * share for share in SCALES_TRIED)

    def bare(x: Floats) -> Points:
        return take_off(placed.points(x), is_shod=film.shod == "yes")

    return Foot(
        placed.x0,
        placed.u,
        placed.points,
        bare,
        film.scale_state,
        unknowns=(Unknown(index, "a scale", tried),) if unscaled else (),
        is_arc_short=_is_arc_short(placed.points(placed.x0)),
    )


def take_off(points: Points, *, is_shod: bool) -> Points:
    """Return the landmarks with the old device off and the hoof's bearing line at y = 0.

    Parameters
    ----------
    points : dict of str to ndarray
        Landmarks (..., 2), foot frame, mm.
    is_shod : bool
        Whether the foot was filmed shod; then ``bearing_palmar`` and ``bearing_dorsal`` are
        there. The shoe's toe, heel and breakover go; the hoof's own toe and heel are where
        the walls, or else those two points, meet the bearing line.

    Raises
    ------
    DegenerateLine
        If the two bearing points lie on one spot.

    Examples
    --------
    >>> shod = {"bearing_palmar": [0.0, 10.0], "bearing_dorsal": [100.0, 10.0], "p3_tip": [60, 25]}
    >>> bare = take_off({name: np.array(xy) for name, xy in shod.items()}, is_shod=True)
    >>> bare["p3_tip"].tolist(), bare["toe"].tolist()
    ([60.0, 15.0], [100.0, 0.0])
    """
    if not is_shod:
        return {
            name: xy for name, xy in points.items() if not name.startswith(("bearing", "ground"))
        }
    rear, front = points["bearing_palmar"], points["bearing_dorsal"]
    turn = np.radians(slope_deg(rear, front))
    cos, sin = np.cos(turn), np.sin(turn)
    level: Points = {}
    for name, point in points.items():
        wide = name == "p2_condyle"
        c, s = (cos[..., None], sin[..., None]) if wide else (cos, sin)
        offset = point - (front[..., None, :] if wide else front)
        along = c * offset[..., 0] - s * offset[..., 1]
        up = s * offset[..., 0] + c * offset[..., 1]
        start = front[..., 0, None] if wide else front[..., 0]
        level[name] = np.stack([start + along, up], axis=-1)
    hoof = {name: xy for name, xy in level.items() if name not in SHOE_POINTS}
    hoof |= {"toe": level["bearing_dorsal"], "heel": level["bearing_palmar"]}
    ends = bearing_ends(hoof)
    own = {"toe": ends.toe, "heel": ends.heel}
    return hoof | {name: end for name, end in own.items() if end is not None}


def _is_arc_short(points: Points) -> bool:
    circle = condyle_circle(points)
    if circle is None:
        return False
    return float(arc_deg(points["p2_condyle"], circle.centre)) < LEAST_ARC_DEG
