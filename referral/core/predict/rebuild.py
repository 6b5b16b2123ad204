"""A foot rebuilt from readings stated by hand, for when there is no film."""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from referral.core.geometry.points import Floats
from referral.core.measure.readings import Reading
from referral.core.predict.foot import Foot, Points, Unknown

STATED = (
    "palmar_angle_deg",
    "dorsal_wall_angle_deg",
    "heel_angle_deg",
    "tip_to_ground_mm",
    "sole_depth_tip_mm",
    "toe_distance_mm",
    "breakover_distance_mm",
    "toe_arm_mm",
    "heel_arm_mm",
    "bearing_length_mm",
    "dip_height_mm",
)
"""The readings that a foot is rebuilt from, in the order of its inputs."""

SIDE_MM = 70.0
"""Length given to lines of which only the angle is stated; no reading shows it."""

PLACEHOLDERS: Mapping[str, tuple[float, float, float]] = MappingProxyType(
    {
        "tip_to_ground_mm": (18.0, 10.0, 30.0),
        "toe_distance_mm": (35.0, 15.0, 60.0),
        "toe_arm_mm": (85.0, 60.0, 110.0),
        "bearing_length_mm": (140.0, 100.0, 180.0),
        "dip_height_mm": (60.0, 40.0, 80.0),
    }
)
"""Lengths that nobody stated: a placeholder and two others; what depends on one is absent."""

CUPS_MM = (3.0, 0.0, 12.0)
"""How far the sole might lie above the bearing line when only its depth is stated."""


def stated_foot(readings: Mapping[str, Reading]) -> Foot:
    """Return the foot that stated readings describe.

    Parameters
    ----------
    readings : mapping of str to Reading
        Any of ``STATED``; others are left alone.

    Returns
    -------
    Foot
        Tip of the distal phalanx at x = 0. A landmark whose angle or depth is not stated is
        left out; a length that is not stated is an unknown with a placeholder.

    Notes
    -----
    Source: geometry. Without a breakover distance the toe arm is taken to the toe.

    Examples
    --------
    >>> angle = Reading("palmar_angle_deg", 4.0, 0.72, "deg", "none", "stated")
    >>> foot = stated_foot({"palmar_angle_deg": angle})
    >>> sorted(foot.shown(foot.x0))
    ['condyle_centre', 'heel', 'p3_palmar_process', 'p3_tip', 'toe']
    """
    known = {code: readings[code] for code in STATED if code in readings}
    x0, u = np.zeros(len(STATED)), np.zeros(len(STATED))
    unknowns = []
    for index, code in enumerate(STATED):
        if code in known:
            x0[index], u[index] = known[code].value, known[code].u
        elif code in PLACEHOLDERS and not _follows(code, known):
            first, *others = _placeholders(code, known)
            x0[index] = first
            unknowns.append(Unknown(index, code, tuple(others)))

    def points(x: Floats) -> Points:
        return _points({code: x[..., index] for index, code in enumerate(STATED)}, known)

    states = {
        index: known[code].scale_state
        for index, code in enumerate(STATED)
        if code in known and known[code].unit == "mm"
    }
    return Foot(
        x0,
        u,
        points,
        points,
        "none",
        unknowns=tuple(unknowns),
        length_states=MappingProxyType(states),
        assumptions=("There is no film: the foot is rebuilt from stated readings.",),
    )


def _follows(code: str, known: Mapping[str, Reading]) -> bool:
    """Return whether a length follows from others that are stated."""
    if code == "bearing_length_mm":
        return {"toe_arm_mm", "heel_arm_mm"} <= known.keys()
    return code == "toe_arm_mm" and "heel_arm_mm" in known


def _placeholders(code: str, known: Mapping[str, Reading]) -> tuple[float, ...]:
    if code == "tip_to_ground_mm" and "sole_depth_tip_mm" in known:
        return tuple(known["sole_depth_tip_mm"].value + cup for cup in CUPS_MM)
    return PLACEHOLDERS[code]


def _points(value: Mapping[str, Floats], known: Mapping[str, Reading]) -> Points:
    nothing = np.zeros_like(value["tip_to_ground_mm"])
    tip = np.stack([nothing, value["tip_to_ground_mm"]], axis=-1)
    toe_x = value["toe_distance_mm"]
    front_x = value["breakover_distance_mm"] if "breakover_distance_mm" in known else toe_x
    heel_x, centre_x = _heel_and_centre(value, known, toe_x, front_x)
    toe, heel = (np.stack([x, nothing], axis=-1) for x in (toe_x, heel_x))
    points = {
        "p3_tip": tip,
        "toe": toe,
        "heel": heel,
        "condyle_centre": np.stack([centre_x, value["dip_height_mm"]], axis=-1),
    }
    if "breakover_distance_mm" in known:
        points["breakover"] = np.stack([front_x, nothing], axis=-1)
    if "sole_depth_tip_mm" in known:
        depth = value["sole_depth_tip_mm"]
        points["sole_under_tip"] = np.stack([nothing, tip[..., 1] - depth], axis=-1)
    for code, name, end in (
        ("palmar_angle_deg", "p3_palmar_process", tip),
        ("dorsal_wall_angle_deg", "wall_proximal", toe),
        ("heel_angle_deg", "heel_wall_proximal", heel),
    ):
        if code in known:
            points[name] = _behind(end, value[code])
    if "wall_proximal" in points:
        points["wall_distal"] = toe
    if "heel_wall_proximal" in points:
        points["heel_wall_distal"] = heel
    return points


def _heel_and_centre(
    value: Mapping[str, Floats], known: Mapping[str, Reading], toe_x: Floats, front_x: Floats
) -> tuple[Floats, Floats]:
    if "bearing_length_mm" not in known and {"toe_arm_mm", "heel_arm_mm"} <= known.keys():
        centre_x = front_x - value["toe_arm_mm"]
        return centre_x - value["heel_arm_mm"], centre_x
    heel_x = toe_x - value["bearing_length_mm"]
    if "toe_arm_mm" not in known and "heel_arm_mm" in known:
        return heel_x, heel_x + value["heel_arm_mm"]
    return heel_x, front_x - value["toe_arm_mm"]


def _behind(end: Floats, angle_deg: Floats) -> Floats:
    """Return the upper end of a line of which the lower end and the slope are known."""
    angle = np.radians(angle_deg)
    return end + SIDE_MM * np.stack([-np.cos(angle), np.sin(angle)], axis=-1)
