"""Whether a foot could follow a plan: refuse what it could not, and say the most it could."""

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from referral.core.errors import ImpossiblePlan, NotFinite
from referral.core.geometry.lines import cross
from referral.core.geometry.points import Floats
from referral.core.measure.lateromedial import lateromedial_readings
from referral.core.predict.move import (
    BearingEnds,
    bearing_ends,
    mean_heel_trim_mm,
)
from referral.core.predict.plan import Plan

NEVER_NEGATIVE = (
    "toe_trim_mm",
    "heel_trim_mm",
    "heel_trim_medial_mm",
    "heel_trim_lateral_mm",
    "toe_dress_mm",
    "sole_pare_mm",
    "pad_mm",
    "bevel_setback_mm",
    "wedge_length_mm",
    "interval_weeks",
)
EXECUTION = ("trim_mm", "wedge_deg", "breakover_mm", "length_mm")
SIGNED = ("wedge_deg", "wedge_mm")
SHOE_NEVER_NEGATIVE = ("thickness_mm", "web_mm", "width_mm", "length_mm")
SHOE_SIGNED = ("breakover_setback_mm", "heel_extension_mm")

STEEPEST_WEDGE_DEG = 45.0
"""Beyond it neither end of the foot is a heel; common sense, no source."""

NO_WALL = "needs the dorsal wall: wall_proximal and wall_distal, or dorsal_wall_angle_deg stated"

BONE_POINTS = frozenset({"p3_tip", "p3_palmar_process", "p3_palmar_process_2"})

ROUNDING_MM = 1e-9


def check_plan(plan: Plan) -> None:
    """Refuse a plan whose numbers no foot could follow, whatever its shape.

    Raises
    ------
    NotFinite
        If a number is NaN or infinite; ``at`` is its path, such as ``plan.heel_trim_mm``.
    ImpossiblePlan
        If a trim, a thickness or a time is negative, or a wedge is 45 degrees or more.

    Notes
    -----
    A wedge whose angle and height do not agree is not refused: a rule says so.

    Examples
    --------
    >>> check_plan(Plan(heel_trim_mm=-1.0))
    Traceback (most recent call last):
        ...
    referral.core.errors.ImpossiblePlan: heel_trim_mm is -1: it cannot be less than 0.
    """
    for at, value, may_be_negative in _numbers(plan):
        name = at.rsplit(".", 1)[-1]
        if not math.isfinite(value):
            raise NotFinite(f"{name} is not a number; give one or leave it out.", at=at)
        if value < 0 and not may_be_negative:
            raise ImpossiblePlan(f"{name} is {value:g}: it cannot be less than 0.", at=at)
    if abs(plan.wedge_deg) >= STEEPEST_WEDGE_DEG:
        raise ImpossiblePlan(
            f"wedge_deg is {plan.wedge_deg:g}: a wedge is less than 45 degrees.",
            at="plan.wedge_deg",
        )


def check_foot(points: Mapping[str, Floats], plan: Plan) -> None:
    """Refuse a plan that takes more than this foot has.

    Parameters
    ----------
    points : mapping of str to ndarray, shape (2,)
        Landmarks of the bare foot, foot frame, mm, bearing line at y = 0.
    plan : Plan
        Already through `check_plan`.

    Raises
    ------
    ImpossiblePlan
        If a trim reaches past the top of its own wall or into the distal phalanx, the dressing
        past the thickness of the wall, the paring past the sole, or the breakover past the
        heel; the message says the greatest possible amount.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> heel = {"heel_wall_proximal": np.array([-130.0, 25.0])}
    >>> check_foot({**heel, "heel_wall_distal": np.array([-105.0, 0.0])}, Plan(heel_trim_mm=30.0))
    Traceback (most recent call last):
        ...
    referral.core.errors.ImpossiblePlan: heel_trim_mm is 30: the heel wall has 25.0 mm at most.
    """
    _check_horn(points, plan)
    _check_dressing(points, plan)
    _check_sole(points, plan)
    ends = bearing_ends(points)
    _check_bone(points, plan, ends)
    _check_breakover(plan, ends)


def trims_possible(
    points: Mapping[str, Floats], plan: Plan, toe_mm: Floats, heel_mm: Floats
) -> NDArray[np.bool_]:
    """Return which trims this foot has the horn and the room under the bone for.

    Parameters
    ----------
    points : mapping of str to ndarray, shape (2,)
        Landmarks of the bare foot, foot frame, mm, bearing line at y = 0.
    plan : Plan
        The rest of the plan; already through `check_foot`. Where it trims inside and outside
        heel apart, the difference between them stays.
    toe_mm, heel_mm : ndarray, shape (...)
        Trims at the toe and, in the side view, at the heels; square to the bearing surface.

    Returns
    -------
    ndarray of bool, shape (...)
        Where `check_plan` and `check_foot` would refuse nothing.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> heel = {"heel_wall_proximal": np.array([-130.0, 25.0])}
    >>> foot = {**heel, "heel_wall_distal": np.array([-105.0, 0.0])}
    >>> trims_possible(foot, Plan(), np.zeros(2), np.array([25.0, 26.0])).tolist()
    [True, False]
    """
    low, high = heel_spread_mm(plan)
    fits = (toe_mm >= 0.0) & (heel_mm + low >= 0.0)
    for amount, top in ((toe_mm, "wall_proximal"), (heel_mm + high, "heel_wall_proximal")):
        if top in points:
            fits &= (amount <= 0.0) | (amount <= points[top][1] + ROUNDING_MM)
    trims = _Trims(toe_mm, heel_mm, plan.toe_dress_mm)
    most_trimmed = np.maximum(toe_mm, heel_mm)
    for most in _bone_room(points, trims, bearing_ends(points)):
        fits &= most_trimmed <= most + ROUNDING_MM
    return fits


def heel_spread_mm(plan: Plan) -> tuple[float, float]:
    """Return how much less and how much more than their mean the two heels lose, in mm.

    Examples
    --------
    >>> heel_spread_mm(Plan(heel_trim_medial_mm=4.0, heel_trim_lateral_mm=7.0))
    (-1.5, 1.5)
    """
    mean = mean_heel_trim_mm(plan)
    sides = (plan.heel_trim_medial_mm, plan.heel_trim_lateral_mm)
    said = [plan.heel_trim_mm if side is None else side for side in sides]
    return min(said) - mean, max(said) - mean


def cannot_move(names: Collection[str], plan: Plan) -> str:
    """Return why these landmarks do not allow the plan to be predicted; empty if they do.

    Examples
    --------
    >>> cannot_move(["toe", "p3_tip"], Plan(heel_trim_mm=5.0))
    'needs heel or heel_wall_proximal and heel_wall_distal'
    """
    seen = set(names)
    has_wall = {"wall_proximal", "wall_distal"} <= seen
    has_heel_wall = {"heel_wall_proximal", "heel_wall_distal"} <= seen
    has_heel = has_heel_wall or "heel" in seen
    trims = plan.growth_since_film or plan.toe_trim_mm != 0 or mean_heel_trim_mm(plan) != 0
    if not (has_wall or "toe" in seen) and does_something(plan):
        return "needs toe or wall_proximal and wall_distal"
    if trims and not has_heel:
        return "needs heel or heel_wall_proximal and heel_wall_distal"
    if not has_wall and (
        plan.growth_since_film or plan.toe_trim_mm != 0 or (trims and not has_heel_wall)
    ):
        return NO_WALL
    if plan.wedge_mm and not (plan.wedge_deg or plan.wedge_length_mm or has_heel):
        return "needs plan.wedge_deg, or the heel to work it out from the wedge's height"
    return ""


def marked_level(points: Mapping[str, Floats]) -> str:
    """Return which wall never meets the ground because it is marked level; empty if none.

    Examples
    --------
    >>> level = {"wall_proximal": np.array([0.0, 5.0]), "wall_distal": np.array([40.0, 5.0])}
    >>> marked_level(level)
    'the dorsal wall is marked level with the ground'
    """
    ends = bearing_ends(points)
    for wall, end in (("dorsal", ends.toe), ("heel", ends.heel)):
        if end is not None and not np.isfinite(end).all():
            return f"the {wall} wall is marked level with the ground"
    return ""


def does_something(plan: Plan) -> bool:
    """Return whether the plan changes anything that a side view shows.

    Examples
    --------
    >>> does_something(Plan()), does_something(Plan(wedge_deg=1.0))
    (False, True)
    """
    acts = (
        plan.toe_trim_mm,
        mean_heel_trim_mm(plan),
        plan.toe_dress_mm,
        plan.sole_pare_mm,
        plan.wedge_deg,
        plan.wedge_mm,
        plan.pad_mm,
        plan.bevel_setback_mm is not None,
        plan.shoe is not None,
    )
    return any(acts)


def _numbers(plan: Plan) -> Iterator[tuple[str, float, bool]]:
    groups: list[tuple[str, object, tuple[str, ...], bool]] = [
        ("plan", plan, NEVER_NEGATIVE, False),
        ("plan", plan, SIGNED, True),
    ]
    groups.append(("plan.execution_u", plan.execution_u, EXECUTION, False))
    if plan.shoe is not None:
        groups.append(("plan.shoe", plan.shoe, SHOE_NEVER_NEGATIVE, False))
        groups.append(("plan.shoe", plan.shoe, SHOE_SIGNED, True))
    for path, holder, names, may_be_negative in groups:
        for name in names:
            value = getattr(holder, name)
            if value is not None:
                yield f"{path}.{name}", value, may_be_negative


def _refuse(at: str, amount_mm: float, what: str, most_mm: float) -> None:
    if amount_mm > most_mm + ROUNDING_MM:
        most = math.floor(max(most_mm, 0.0) * 10) / 10
        raise ImpossiblePlan(
            f"{at.rsplit('.', 1)[-1]} is {amount_mm:g}: {what} {most:.1f} mm at most.", at=at
        )


def _check_horn(points: Mapping[str, Floats], plan: Plan) -> None:
    horn = [("toe_trim_mm", "wall_proximal", "the dorsal wall has")]
    horn += [
        (name, "heel_wall_proximal", "the heel wall has")
        for name in ("heel_trim_mm", "heel_trim_medial_mm", "heel_trim_lateral_mm")
    ]
    for name, top, what in horn:
        amount = getattr(plan, name)
        if amount and top in points:
            _refuse(f"plan.{name}", amount, what, float(points[top][1]))


def _check_dressing(points: Mapping[str, Floats], plan: Plan) -> None:
    """Refuse dressing that takes more than the wall over the tip, square to its own face."""
    if not plan.toe_dress_mm:
        return
    readings = lateromedial_readings(points)
    if "wall_thickness_distal_mm" in readings:
        across = math.sin(math.radians(float(readings["dorsal_wall_angle_deg"])))
        most = float(readings["wall_thickness_distal_mm"]) / across
        _refuse("plan.toe_dress_mm", plan.toe_dress_mm, "the wall over the bone has", most)


def _check_bone(points: Mapping[str, Floats], plan: Plan, ends: BearingEnds) -> None:
    """Refuse a new bearing line that reaches the tip or a process of the bone."""
    toe_mm, heel_mm = plan.toe_trim_mm, mean_heel_trim_mm(plan)
    at = "plan.toe_trim_mm" if toe_mm >= heel_mm else "plan.heel_trim_mm"
    trims = _Trims(np.asarray(toe_mm), np.asarray(heel_mm), plan.toe_dress_mm)
    for most in _bone_room(points, trims, ends):
        what = "with the rest of the plan the bone leaves room for"
        _refuse(at, max(toe_mm, heel_mm), what, float(most))


@dataclass(frozen=True, slots=True)
class _Trims:
    """What comes off both ends, of one plan or many, and the dressing they share."""

    toe_mm: Floats
    heel_mm: Floats
    toe_dress_mm: float


def _bone_room(points: Mapping[str, Floats], trims: _Trims, ends: BearingEnds) -> Iterator[Floats]:
    """Yield, by point of the bone, the most that the end trimmed more could lose.

    Infinite where the new bearing line stays below the bone anyway.
    """
    if ends.toe is None or ends.heel is None:
        return
    toe_run = 0.0 if ends.toe_run is None else float(ends.toe_run)
    heel_run = toe_run if ends.heel_run is None else float(ends.heel_run)
    toe_way, heel_way = np.array([-toe_run, 1.0]), np.array([-heel_run, 1.0])
    toe = ends.toe - np.array([trims.toe_dress_mm, 0.0])
    new_toe = toe + trims.toe_mm[..., None] * toe_way
    new_heel = ends.heel + trims.heel_mm[..., None] * heel_way
    for name in sorted(BONE_POINTS & points.keys()):
        bone = points[name]
        most = np.where(
            trims.toe_mm >= trims.heel_mm,
            _reach(toe, toe_way, new_heel, bone),
            _reach(ends.heel, heel_way, new_toe, bone),
        )
        yield np.where(cross(new_heel - new_toe, bone - new_toe) > 0, most, np.inf)


def _reach(start: Floats, way: Floats, other_end: Floats, bone: Floats) -> Floats:
    """Return how far an end can go until the line to the other end touches the bone."""
    to_bone = bone - other_end
    with np.errstate(divide="ignore", invalid="ignore"):
        reach: Floats = -cross(start - other_end, to_bone) / cross(way, to_bone)
    return reach


def _check_sole(points: Mapping[str, Floats], plan: Plan) -> None:
    if plan.sole_pare_mm and {"p3_tip", "sole_under_tip"} <= points.keys():
        depth = float(points["p3_tip"][1] - points["sole_under_tip"][1])
        _refuse("plan.sole_pare_mm", plan.sole_pare_mm, "the sole under the tip has", depth)


def _check_breakover(plan: Plan, ends: BearingEnds) -> None:
    if ends.toe is None or ends.heel is None:
        return
    length = float(ends.toe[0] - ends.heel[0])
    if plan.shoe is not None:
        at, setback = "plan.shoe.breakover_setback_mm", plan.shoe.breakover_setback_mm
    else:
        at, setback = "plan.bevel_setback_mm", plan.bevel_setback_mm or 0.0
    _refuse(at, setback, "the bearing surface has", length)
