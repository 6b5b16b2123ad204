"""The readings of a photo from the front, computed from points in the foot frame."""

from collections.abc import Mapping
from types import MappingProxyType

from referral.core.geometry.lines import slope_deg
from referral.core.geometry.points import Floats
from referral.core.measure.dorsopalmar import GROUND, SIDES, dorsopalmar_readings

Points = Mapping[str, Floats]

CORONETS = ("coronet_medial", "coronet_lateral")
LINES: tuple[tuple[str, str], ...] = (
    GROUND,
    CORONETS,
    ("wall_medial_proximal", "wall_medial_distal"),
    ("wall_lateral_proximal", "wall_lateral_distal"),
    ("scale_a", "scale_b"),
)
"""Pairs of landmarks that span a line."""


def _needs() -> dict[str, tuple[str, ...]]:
    needs: dict[str, tuple[str, ...]] = {"photo_coronet_tilt_deg": CORONETS}
    for side in SIDES:
        wall = (f"wall_{side}_proximal", f"wall_{side}_distal")
        needs[f"photo_coronet_height_{side}_mm"] = (f"coronet_{side}",)
        needs[f"photo_wall_angle_{side}_deg"] = wall
    return needs


NEEDS: Mapping[str, tuple[str, ...]] = MappingProxyType(_needs())
"""Reading code -> the landmarks it needs beside the ground."""


def front_photo_readings(points: Points) -> dict[str, Floats]:
    """Return every reading that the landmarks present allow.

    Parameters
    ----------
    points : mapping of str to ndarray
        Landmark name -> points (..., 2) in the foot frame: millimetres, x to the lateral
        side, y up, y = 0 on the ground.

    Returns
    -------
    dict of str to ndarray
        Code -> values of shape (...). Heights and wall angles are defined as on a dorsopalmar
        film, under codes of their own; the coronet's tilt is positive when its lateral side
        is higher.

    Raises
    ------
    DegenerateLine
        If two points that span a line lie on one spot.

    Examples
    --------
    >>> import numpy as np
    >>> coronet = {
    ...     "coronet_medial": np.array([-44.0, 66.0]),
    ...     "coronet_lateral": np.array([44.0, 68.0]),
    ... }
    >>> round(float(front_photo_readings(coronet)["photo_coronet_tilt_deg"]), 2)
    1.3
    """
    same = dorsopalmar_readings(points)
    found = {f"photo_{code}": value for code, value in same.items()}
    if points.keys() >= set(CORONETS):
        found["photo_coronet_tilt_deg"] = -slope_deg(*(points[name] for name in CORONETS))
    return {code: found[code] for code in NEEDS if code in found}
