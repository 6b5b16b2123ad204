"""The readings of a photo from the side, computed from points in the foot frame."""

from collections.abc import Mapping
from types import MappingProxyType

from referral.core.geometry.lines import difference_deg, undirected_deg
from referral.core.geometry.points import Floats, distance

Points = Mapping[str, Floats]

GROUND = ("heel", "toe")
WALL_LINE = ("wall_proximal", "wall_distal")
HEEL_LINE = ("heel_wall_proximal", "heel_wall_distal")
PASTERN_LINE = ("pastern_proximal", "pastern_distal")
LINES: tuple[tuple[str, str], ...] = (
    GROUND,
    WALL_LINE,
    HEEL_LINE,
    PASTERN_LINE,
    ("coronet_dorsal", "toe"),
    ("scale_a", "scale_b"),
)
"""Pairs of landmarks that span a line."""

NEEDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "photo_wall_angle_deg": WALL_LINE,
        "photo_heel_angle_deg": HEEL_LINE,
        "photo_toe_heel_difference_deg": WALL_LINE + HEEL_LINE,
        "pastern_angle_deg": PASTERN_LINE,
        "hoof_pastern_difference_deg": WALL_LINE + PASTERN_LINE,
        "photo_toe_length_mm": ("coronet_dorsal", "toe"),
        "plumb_to_heel_mm": ("fetlock_centre", "heel"),
    }
)
"""Reading code -> the landmarks it needs beside the ground."""

PLUMB = "plumb_to_heel_mm"


def side_photo_readings(points: Points) -> dict[str, Floats]:
    """Return every reading that the landmarks present allow.

    Parameters
    ----------
    points : mapping of str to ndarray
        Landmark name -> points (..., 2) in the foot frame: millimetres, x to the toe, y up,
        y = 0 on the ground.

    Returns
    -------
    dict of str to ndarray
        Code -> values of shape (...); degrees or millimetres. ``plumb_to_heel_mm`` is positive
        when the heel lies behind the vertical through the fetlock's centre;
        ``hoof_pastern_difference_deg`` when the axis is broken forward.

    Raises
    ------
    DegenerateLine
        If two points that span a line lie on one spot.

    Notes
    -----
    Angles of a photo are not those of a film: six methods on 16 hooves gave no two that
    agree (J Equine Vet Sci 2023;121:104195). They have codes of their own.

    Examples
    --------
    >>> import numpy as np
    >>> found = side_photo_readings(
    ...     {"fetlock_centre": np.array([12.0, 180.0]), "heel": np.array([0.0, 0.0])}
    ... )
    >>> float(found["plumb_to_heel_mm"])
    12.0
    """
    found: dict[str, Floats] = {}
    for code, line in (
        ("photo_wall_angle_deg", WALL_LINE),
        ("photo_heel_angle_deg", HEEL_LINE),
        ("pastern_angle_deg", PASTERN_LINE),
    ):
        if points.keys() >= set(line):
            found[code] = undirected_deg(points[line[0]], points[line[1]])
    for code, other in (
        ("photo_toe_heel_difference_deg", "photo_heel_angle_deg"),
        ("hoof_pastern_difference_deg", "pastern_angle_deg"),
    ):
        if "photo_wall_angle_deg" in found and other in found:
            found[code] = difference_deg(found["photo_wall_angle_deg"], found[other])
    if points.keys() >= {"coronet_dorsal", "toe"}:
        found["photo_toe_length_mm"] = distance(points["coronet_dorsal"], points["toe"])
    if points.keys() >= {"fetlock_centre", "heel"}:
        found[PLUMB] = points["fetlock_centre"][..., 0] - points["heel"][..., 0]
    return found
