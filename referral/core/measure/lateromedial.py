"""The readings of a lateromedial film, computed from points in the foot frame."""

from collections.abc import Callable, Collection, Mapping
from types import MappingProxyType

import numpy as np

from referral.core.geometry.circle import FEWEST_POINTS, Circle, fit_circle
from referral.core.geometry.lines import (
    difference_deg,
    height_over_line,
    normal,
    reach_to_line,
    slope_deg,
    undirected_deg,
)
from referral.core.geometry.points import Floats, distance
from referral.core.measure.needs import NO_LANDMARK, Needs, lacking

Points = Mapping[str, Floats]

FRACTIONS = MappingProxyType({"proximal": 0.0, "mid": 0.5, "distal": 1.0})
"""Where along the dorsal face of the distal phalanx the wall's thickness is read."""

GROUND = ("ground_palmar", "ground_dorsal")
LINES: tuple[tuple[str, str], ...] = (
    GROUND,
    ("bearing_palmar", "bearing_dorsal"),
    ("p3_palmar_process", "p3_tip"),
    ("p3_dorsal_proximal", "p3_dorsal_distal"),
    ("wall_proximal", "wall_distal"),
    ("heel_wall_proximal", "heel_wall_distal"),
    ("p2_dorsal_proximal", "p2_dorsal_distal"),
    ("palmar_cortex_proximal", "p3_tip"),
)
"""Pairs of landmarks that span a line; the first is the upper or the palmar one."""

P3_LINE = ("p3_dorsal_proximal", "p3_dorsal_distal")
WALL_LINE = ("wall_proximal", "wall_distal")
HEEL_LINE = ("heel_wall_proximal", "heel_wall_distal")
P2_LINE = ("p2_dorsal_proximal", "p2_dorsal_distal")
PALMAR = ("p3_palmar_process", "p3_tip")
FRONT = "breakover|toe"

NEEDS: Mapping[str, Needs] = MappingProxyType(
    {
        "palmar_angle_deg": PALMAR,
        "dorsal_p3_angle_deg": P3_LINE,
        "dorsal_wall_angle_deg": WALL_LINE,
        "heel_angle_deg": HEEL_LINE,
        "toe_heel_difference_deg": WALL_LINE + HEEL_LINE,
        "capsular_rotation_deg": P3_LINE + WALL_LINE,
        "p2_angle_deg": P2_LINE,
        "phalangeal_rotation_deg": P3_LINE + P2_LINE,
        "bone_angle_deg": P3_LINE + PALMAR,
        "founder_distance_mm": ("hairline", "extensor_process"),
        "wall_thickness_proximal_mm": P3_LINE + WALL_LINE,
        "wall_thickness_mid_mm": P3_LINE + WALL_LINE,
        "wall_thickness_distal_mm": P3_LINE + WALL_LINE,
        "wall_to_cortex_ratio": (*P3_LINE, *WALL_LINE, "p3_tip", "palmar_cortex_proximal"),
        "lamellar_lucent_zone_mm": (*P3_LINE, "horn_inner_mid"),
        "palmar_cortex_length_mm": ("p3_tip", "palmar_cortex_proximal"),
        "sole_depth_tip_mm": ("p3_tip", "sole_under_tip"),
        "sole_depth_process_mm": ("p3_palmar_process", "sole_under_process"),
        "tip_to_ground_mm": ("p3_tip",),
        "sole_cup_tip_mm": ("sole_under_tip",),
        "sole_to_shoe_mm": (NO_LANDMARK,),
        "breakover_distance_mm": ("p3_tip", "breakover"),
        "toe_distance_mm": ("p3_tip", "toe"),
        "toe_arm_mm": ("p2_condyle", FRONT),
        "heel_arm_mm": ("p2_condyle", "heel"),
        "behind_centre_percent": ("p2_condyle", FRONT, "heel"),
        "dip_height_mm": ("p2_condyle",),
        "bearing_length_mm": ("toe", "heel"),
    }
)
"""Reading code -> the landmarks it needs beside the ground; ``a|b`` means either."""

CENTRE_READINGS = tuple(code for code, needs in NEEDS.items() if "p2_condyle" in needs)


def lateromedial_readings(points: Points) -> dict[str, Floats]:
    """Return every reading that the landmarks present allow.

    Parameters
    ----------
    points : mapping of str to ndarray
        Landmark name -> points (..., 2) in the foot frame: millimetres, x to the toe, y up,
        y = 0 on the ground. ``p2_condyle`` is (..., k, 2); ``condyle_centre`` (..., 2), if
        given, is used in its place. ``bearing_palmar`` and ``bearing_dorsal``, if given, are
        the hoof's own bearing line; else that is the ground line.

    Returns
    -------
    dict of str to ndarray
        Code -> values of shape (...); degrees, millimetres, percent or a ratio, as the code
        ends. Signs as in ``referral.core.measure.registry``. Values that the geometry does
        not have (a wall square to the bone) are infinite or NaN.

    Raises
    ------
    DegenerateLine
        If two points that span a line lie on one spot.
    DegenerateCircle
        If the condyle's points lie on a straight line.

    Examples
    --------
    >>> tip, process = np.array([0.0, 15.0]), np.array([-71.726, 21.275])
    >>> readings = lateromedial_readings({"p3_tip": tip, "p3_palmar_process": process})
    >>> {code: round(float(value), 2) for code, value in readings.items()}
    {'palmar_angle_deg': 5.0, 'tip_to_ground_mm': 15.0}
    """
    found: dict[str, Floats] = {}
    has = _having(points)
    for group in (_angles, _walls, _sole, _lengths, _centre):
        group(points, has, found)
    return found


def lateromedial_absent(names: Collection[str]) -> dict[str, str]:
    """Return why each reading is absent that the landmarks ``names`` do not allow.

    Returns
    -------
    dict of str to str
        Code -> reason, such as ``"needs p2_condyle and heel"``.

    Examples
    --------
    >>> lateromedial_absent(["p3_tip", "p2_condyle"])["heel_arm_mm"]
    'needs heel'
    """
    lacks = {code: lacking(needs, names) for code, needs in NEEDS.items()}
    return {code: reason for code, reason in lacks.items() if reason is not None}


def condyle_circle(points: Points) -> Circle | None:
    """Return the circle through ``p2_condyle``, or ``None`` if fewer than three points are there.

    Its ``centre``, shape (..., 2), is the centre of rotation of the coffin joint, foot frame, mm.

    Raises
    ------
    DegenerateCircle
        If the points lie on a straight line.

    Examples
    --------
    >>> arc = np.array([[-60.0, 62.0], [-52.0, 54.0], [-44.0, 62.0]])
    >>> condyle_circle({"p2_condyle": arc}).centre.round(6).tolist()
    [-52.0, 62.0]
    """
    arc = points.get("p2_condyle")
    if arc is None or arc.shape[-2] < FEWEST_POINTS:
        return None
    return fit_circle(arc)


def process_mean(points: Points) -> Floats:
    """Return the mean of the palmar processes seen, shape (..., 2), in the frame they came in.

    Examples
    --------
    >>> one, other = np.array([-70.0, 20.0]), np.array([-72.0, 22.0])
    >>> process_mean({"p3_palmar_process": one, "p3_palmar_process_2": other}).tolist()
    [-71.0, 21.0]
    """
    first = points["p3_palmar_process"]
    second = points.get("p3_palmar_process_2")
    return first if second is None else (first + second) / 2.0


Has = Callable[..., bool]


def _having(names: Collection[str]) -> Has:
    present = frozenset(names)
    return lambda *needs: present.issuperset(needs)


def _angles(points: Points, has: Has, found: dict[str, Floats]) -> None:
    if has(*PALMAR):
        found["palmar_angle_deg"] = slope_deg(process_mean(points), points["p3_tip"])
    for code, needs in (
        ("dorsal_p3_angle_deg", P3_LINE),
        ("dorsal_wall_angle_deg", WALL_LINE),
        ("heel_angle_deg", HEEL_LINE),
        ("p2_angle_deg", P2_LINE),
    ):
        if has(*needs):
            found[code] = undirected_deg(points[needs[0]], points[needs[1]])
    for code, first, second in (
        ("toe_heel_difference_deg", "dorsal_wall_angle_deg", "heel_angle_deg"),
        ("capsular_rotation_deg", "dorsal_p3_angle_deg", "dorsal_wall_angle_deg"),
        ("phalangeal_rotation_deg", "dorsal_p3_angle_deg", "p2_angle_deg"),
        ("bone_angle_deg", "dorsal_p3_angle_deg", "palmar_angle_deg"),
    ):
        if first in found and second in found:
            found[code] = difference_deg(found[first], found[second])


def _walls(points: Points, has: Has, found: dict[str, Floats]) -> None:
    if has("p3_tip", "palmar_cortex_proximal"):
        length = distance(points["p3_tip"], points["palmar_cortex_proximal"])
        found["palmar_cortex_length_mm"] = length
    if not has(*P3_LINE):
        return
    upper, lower = (points[name] for name in P3_LINE)
    if has("horn_inner_mid"):
        zone = height_over_line(points["horn_inner_mid"], upper, lower)
        found["lamellar_lucent_zone_mm"] = zone
    if not has(*WALL_LINE):
        return
    out = normal(upper, lower)
    wall = [points[name] for name in WALL_LINE]
    for place, share in FRACTIONS.items():
        start = upper + share * (lower - upper)
        found[f"wall_thickness_{place}_mm"] = reach_to_line(start, out, *wall)
    if "palmar_cortex_length_mm" in found:
        ratio = found["wall_thickness_mid_mm"] / found["palmar_cortex_length_mm"]
        found["wall_to_cortex_ratio"] = ratio


def _sole(points: Points, has: Has, found: dict[str, Floats]) -> None:
    if has("p3_tip"):
        found["tip_to_ground_mm"] = points["p3_tip"][..., 1]
    if has("p3_palmar_process", "sole_under_process"):
        depth = process_mean(points)[..., 1] - points["sole_under_process"][..., 1]
        found["sole_depth_process_mm"] = depth
    if not has("sole_under_tip"):
        return
    sole = points["sole_under_tip"]
    found["sole_cup_tip_mm"] = sole[..., 1] - _bearing_height(points, has, sole[..., 0])
    if has("p3_tip"):
        found["sole_depth_tip_mm"] = points["p3_tip"][..., 1] - sole[..., 1]


def _bearing_height(points: Points, has: Has, x_mm: Floats) -> Floats:
    if not has("bearing_palmar", "bearing_dorsal"):
        return np.zeros(())
    back, front = points["bearing_palmar"], points["bearing_dorsal"]
    run = front - back
    with np.errstate(divide="ignore", invalid="ignore"):
        height: Floats = back[..., 1] + (x_mm - back[..., 0]) * run[..., 1] / run[..., 0]
    return height


def _lengths(points: Points, has: Has, found: dict[str, Floats]) -> None:
    for code, front, back in (
        ("breakover_distance_mm", "breakover", "p3_tip"),
        ("toe_distance_mm", "toe", "p3_tip"),
        ("bearing_length_mm", "toe", "heel"),
    ):
        if has(front, back):
            found[code] = points[front][..., 0] - points[back][..., 0]
    if has("hairline", "extensor_process"):
        drop = points["hairline"][..., 1] - points["extensor_process"][..., 1]
        found["founder_distance_mm"] = drop


def _centre(points: Points, has: Has, found: dict[str, Floats]) -> None:
    centre = points.get("condyle_centre")
    if centre is None:
        circle = condyle_circle(points)
        if circle is None:
            return
        centre = circle.centre
    found["dip_height_mm"] = centre[..., 1]
    front = points.get("breakover", points.get("toe"))
    if front is not None:
        found["toe_arm_mm"] = front[..., 0] - centre[..., 0]
    if has("heel"):
        found["heel_arm_mm"] = centre[..., 0] - points["heel"][..., 0]
    if front is not None and has("heel"):
        base = found["toe_arm_mm"] + found["heel_arm_mm"]
        with np.errstate(divide="ignore", invalid="ignore"):
            found["behind_centre_percent"] = 100.0 * found["heel_arm_mm"] / base
