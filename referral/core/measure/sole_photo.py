"""The readings of a photo of the sole, computed from points in the sole's frame."""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from referral.core.geometry.points import Floats, distance

Points = Mapping[str, Floats]

SIDES = ("medial", "lateral")
HEELS = ("heel_medial", "heel_lateral")
MIDDLE = (*HEELS, "toe")
"""The foot's middle line: from midway between the heels to the toe."""

WIDEST = ("widest_medial", "widest_lateral")
FROG_WIDEST = ("frog_widest_medial", "frog_widest_lateral")
FROG_LENGTH = ("frog_widest_level", "frog_apex")
SCALE_ENDS = ("scale_a", "scale_b")
LINES: tuple[tuple[str, str], ...] = (
    ("heel_medial", "toe"),
    ("heel_lateral", "toe"),
    WIDEST,
    FROG_WIDEST,
    FROG_LENGTH,
    SCALE_ENDS,
)
"""Pairs of landmarks that span a line."""

NEEDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "foot_length_mm": ("toe", *HEELS),
        "foot_width_mm": WIDEST,
        "behind_widest_percent": ("toe", *HEELS, *WIDEST),
        "heel_to_widest_mm": (*HEELS, *WIDEST),
        "half_width_medial_mm": ("widest_medial",),
        "half_width_lateral_mm": ("widest_lateral",),
        "heel_medial_length_mm": ("heel_medial", *WIDEST),
        "heel_lateral_length_mm": ("heel_lateral", *WIDEST),
        "heel_to_frog_widest_mm": (*HEELS, "frog_widest_level"),
        "frog_width_length_ratio": (*FROG_WIDEST, *FROG_LENGTH),
        "centre_agreement_mm": (*HEELS, *WIDEST),
    }
)
"""Reading code -> the landmarks it needs beside the middle line."""

BEYOND: Mapping[str, str] = MappingProxyType(
    {"centre_agreement_mm": "needs the coffin joint's centre from a film of the same foot"}
)
"""Readings that a photo alone never gives, with the reason."""


def sole_photo_readings(points: Points) -> dict[str, Floats]:
    """Return every reading that the landmarks present allow.

    Parameters
    ----------
    points : mapping of str to ndarray
        Landmark name -> points (..., 2) in the sole's frame: millimetres in the plane of the
        ground surface, x to the toe, y to the lateral side, y = 0 on the middle line.

    Returns
    -------
    dict of str to ndarray
        Code -> values of shape (...); millimetres, percent or a ratio, as the code ends.
        ``heel_to_frog_widest_mm`` is positive when the heels lie behind the level of the
        frog's widest part. A share of a foot without length is infinite or NaN.

    Notes
    -----
    Common practice, no source; the middle of the bearing surface lies near the widest part
    (Adams & Stashak, 7th ed., p 1092).

    Examples
    --------
    >>> names = ("toe", "heel_medial", "heel_lateral", "widest_medial", "widest_lateral")
    >>> places = ([130.0, 0.0], [0.0, -32.0], [0.0, 32.0], [62.0, -63.0], [68.0, 65.0])
    >>> found = sole_photo_readings(dict(zip(names, map(np.array, places))))
    >>> float(found["foot_width_mm"]), float(found["behind_widest_percent"])
    (128.0, 50.0)
    """
    found: dict[str, Floats] = {}
    heel, widest = _level(points, HEELS), _level(points, WIDEST)
    for side, sign in zip(SIDES, (-1.0, 1.0), strict=True):
        edge, end = points.get(f"widest_{side}"), points.get(f"heel_{side}")
        if edge is not None:
            found[f"half_width_{side}_mm"] = sign * edge[..., 1]
        if widest is not None and end is not None:
            found[f"heel_{side}_length_mm"] = widest - end[..., 0]
    if widest is not None:
        medial, lateral = (points[name][..., 1] for name in WIDEST)
        found["foot_width_mm"] = lateral - medial
    if heel is not None:
        _from_heel(points, heel, widest, found)
    if points.keys() >= {*FROG_WIDEST, *FROG_LENGTH}:
        width = distance(*(points[name] for name in FROG_WIDEST))
        length = distance(*(points[name] for name in FROG_LENGTH))
        with np.errstate(divide="ignore", invalid="ignore"):
            found["frog_width_length_ratio"] = width / length
    return {code: found[code] for code in NEEDS if code in found}


def _level(points: Points, pair: tuple[str, str]) -> Floats | None:
    """Return how far along the middle line the two points of a pair lie in the mean."""
    first, second = (points.get(name) for name in pair)
    if first is None or second is None:
        return None
    level: Floats = (first[..., 0] + second[..., 0]) / 2.0
    return level


def _from_heel(
    points: Points, heel: Floats, widest: Floats | None, found: dict[str, Floats]
) -> None:
    toe, frog = points.get("toe"), points.get("frog_widest_level")
    if toe is not None:
        found["foot_length_mm"] = toe[..., 0] - heel
    if frog is not None:
        found["heel_to_frog_widest_mm"] = frog[..., 0] - heel
    if widest is None:
        return
    found["heel_to_widest_mm"] = widest - heel
    if toe is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            share = 100.0 * found["heel_to_widest_mm"] / found["foot_length_mm"]
        found["behind_widest_percent"] = share
