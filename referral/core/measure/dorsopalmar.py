"""The readings of a dorsopalmar film, computed from points in the foot frame."""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from referral.core.geometry.lines import height_over_line, slope_deg
from referral.core.geometry.points import Floats

Points = Mapping[str, Floats]

SIDES = ("medial", "lateral")
GROUND = ("ground_medial", "ground_lateral")
MARGINS = ("p3_margin_medial", "p3_margin_lateral")
JOINT_LINE = ("dip_p3_medial", "dip_p3_lateral")
LINES: tuple[tuple[str, str], ...] = (
    GROUND,
    MARGINS,
    JOINT_LINE,
    ("wall_medial_proximal", "wall_medial_distal"),
    ("wall_lateral_proximal", "wall_lateral_distal"),
)
"""Pairs of landmarks that span a line."""


def _needs() -> dict[str, tuple[str, ...]]:
    needs: dict[str, tuple[str, ...]] = {
        "p3_tilt_deg": MARGINS,
        "joint_tilt_deg": JOINT_LINE,
        "joint_space_difference_mm": (*JOINT_LINE, "dip_p2_medial", "dip_p2_lateral"),
    }
    for side in SIDES:
        wall = (f"wall_{side}_proximal", f"wall_{side}_distal")
        needs[f"joint_space_{side}_mm"] = (*JOINT_LINE, f"dip_p2_{side}")
        needs[f"sole_depth_{side}_mm"] = (f"p3_margin_{side}", f"sole_{side}")
        needs[f"wall_thickness_{side}_mm"] = (*wall, f"p3_wall_{side}")
        needs[f"coronet_height_{side}_mm"] = (f"coronet_{side}",)
        needs[f"wall_angle_{side}_deg"] = wall
    return needs


NEEDS: Mapping[str, tuple[str, ...]] = MappingProxyType(_needs())
"""Reading code -> the landmarks it needs beside the ground."""


def dorsopalmar_readings(points: Points) -> dict[str, Floats]:
    """Return every reading that the landmarks present allow.

    Parameters
    ----------
    points : mapping of str to ndarray
        Landmark name -> points (..., 2) in the foot frame: millimetres, x to the lateral side,
        y up, y = 0 on the ground.

    Returns
    -------
    dict of str to ndarray
        Code -> values of shape (...). Tilts are positive when the lateral side is higher;
        differences are lateral minus medial; a wall's angle is taken through the horn, so a
        flared wall reads less than 90.

    Raises
    ------
    DegenerateLine
        If two points that span a line lie on one spot.

    Examples
    --------
    >>> margins = {
    ...     "p3_margin_medial": np.array([-38.0, 18.0]),
    ...     "p3_margin_lateral": np.array([38.0, 20.0]),
    ... }
    >>> round(float(dorsopalmar_readings(margins)["p3_tilt_deg"]), 2)
    1.51
    """
    found: dict[str, Floats] = {}
    for code, line in (("p3_tilt_deg", MARGINS), ("joint_tilt_deg", JOINT_LINE)):
        if points.keys() >= set(line):
            # Lateral is in front on this frame's x, so the slope counts from its side.
            found[code] = -slope_deg(points[line[0]], points[line[1]])
    for side in SIDES:
        _joint(points, side, found)
        _sole(points, side, found)
        _wall(points, side, found)
    spaces = [found.get(f"joint_space_{side}_mm") for side in SIDES]
    if spaces[0] is not None and spaces[1] is not None:
        found["joint_space_difference_mm"] = spaces[1] - spaces[0]
    return found


def _joint(points: Points, side: str, found: dict[str, Floats]) -> None:
    code = f"joint_space_{side}_mm"
    if points.keys() >= set(NEEDS[code]):
        line = (points[name] for name in JOINT_LINE)
        found[code] = height_over_line(points[f"dip_p2_{side}"], *line)


def _sole(points: Points, side: str, found: dict[str, Floats]) -> None:
    bone, sole = (points.get(name) for name in NEEDS[f"sole_depth_{side}_mm"])
    if bone is not None and sole is not None:
        found[f"sole_depth_{side}_mm"] = bone[..., 1] - sole[..., 1]
    coronet = points.get(f"coronet_{side}")
    if coronet is not None:
        found[f"coronet_height_{side}_mm"] = coronet[..., 1]


def _wall(points: Points, side: str, found: dict[str, Floats]) -> None:
    upper, lower = (points.get(name) for name in NEEDS[f"wall_angle_{side}_deg"])
    if upper is None or lower is None:
        return
    outward = np.array([1.0, 1.0]) if side == "lateral" else np.array([-1.0, 1.0])
    found[f"wall_angle_{side}_deg"] = slope_deg(upper * outward, lower * outward)
    bone = points.get(f"p3_wall_{side}")
    if bone is not None:
        # Mirrored outward both walls fall to the right; the bone lies on their right side.
        depth = height_over_line(bone * outward, upper * outward, lower * outward)
        found[f"wall_thickness_{side}_mm"] = -depth
