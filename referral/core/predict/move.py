"""A plan moves the landmarks of a foot; one plan or many at once go through the same code."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from referral.core.geometry.points import Floats
from referral.core.measure.lateromedial import condyle_circle
from referral.core.predict.joints import P2_SHARE
from referral.core.predict.plan import Plan

Points = Mapping[str, Floats]

STAND_IN_LENGTH_MM = 100.0
"""Length of the bearing line where the heel is not seen; it gives the direction alone."""

BEARING_POINTS = frozenset(
    {
        "ground_palmar",
        "ground_dorsal",
        "bearing_palmar",
        "bearing_dorsal",
        "toe",
        "breakover",
        "heel",
    }
)
"""Points on the ground or the bearing line: placed anew, not turned with the hoof."""

P2_POINTS = ("p2_dorsal_proximal", "p2_dorsal_distal")
SOLE_POINTS = ("sole_under_tip", "sole_under_process")


@dataclass(frozen=True, slots=True)
class PlanArrays:
    """A plan in numbers, or many plans: each field broadcasts to the leading axes (...).

    Millimetres and degrees; trims square to the bearing surface; ``stack_mm`` is shoe and
    pad together; ``setback_mm`` is the shoe's or, barefoot, the bevel's.
    """

    toe_trim_mm: Floats
    heel_trim_mm: Floats
    toe_dress_mm: Floats
    sole_pare_mm: Floats
    wedge_deg: Floats
    stack_mm: Floats
    setback_mm: Floats
    heel_extension_mm: Floats
    is_shod: bool = False
    is_bevelled: bool = False


PLAN_NUMBERS = (
    "toe_trim_mm",
    "heel_trim_mm",
    "toe_dress_mm",
    "sole_pare_mm",
    "wedge_deg",
    "stack_mm",
    "setback_mm",
    "heel_extension_mm",
)
"""The fields of ``PlanArrays`` that are numbers, in the order of the input vector."""


@dataclass(frozen=True, slots=True)
class BearingEnds:
    """Where the walls meet the bearing line (y = 0), and how the walls run below it.

    ``toe`` and ``heel`` have shape (..., 2); ``toe_run`` and ``heel_run``, shape (...), are
    the cotangents of the dorsal wall and the heel angle, ``None`` where a wall is not seen.
    """

    toe: Floats | None
    heel: Floats | None
    toe_run: Floats | None
    heel_run: Floats | None


@dataclass(frozen=True, slots=True)
class MovedFoot:
    """The foot after a plan: points in the foot frame (mm, x to the toe, y up, ground y = 0).

    ``phi_deg`` is the turn the trim alone makes (+ heels up), ``bearing_length_mm`` the
    length of the bearing surface after trimming; both have shape (...).
    """

    points: dict[str, Floats]
    phi_deg: Floats
    bearing_length_mm: Floats


def plan_numbers(plan: Plan) -> Floats:
    """Return what a side view sees of a plan, shape (8,), in the order of ``PLAN_NUMBERS``.

    Notes
    -----
    Raises nothing; ``referral.core.predict.possible`` says whether a foot could follow.

    Examples
    --------
    >>> plan_numbers(Plan(heel_trim_medial_mm=4.0, heel_trim_lateral_mm=6.0)).tolist()
    [0.0, 5.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    """
    shoe = plan.shoe
    setback_mm = shoe.breakover_setback_mm if shoe else plan.bevel_setback_mm
    return np.array(
        [
            plan.toe_trim_mm,
            mean_heel_trim_mm(plan),
            plan.toe_dress_mm,
            plan.sole_pare_mm,
            plan.wedge_deg,
            (shoe.thickness_mm if shoe else 0.0) + plan.pad_mm,
            setback_mm or 0.0,
            shoe.heel_extension_mm if shoe else 0.0,
        ],
        dtype=np.float64,
    )


def plan_arrays(plan: Plan, numbers: Floats | None = None) -> PlanArrays:
    """Return a plan as arrays.

    Parameters
    ----------
    plan : Plan
        Says whether the foot is shod or bevelled, and the numbers if they are not given.
    numbers : ndarray, shape (..., 8), optional
        The numbers of one plan or many, in the order of ``PLAN_NUMBERS``.

    Returns
    -------
    PlanArrays
        Fields of shape (...), in mm and degrees.

    Examples
    --------
    >>> plan_arrays(Plan(), np.zeros((40, 8))).heel_trim_mm.shape
    (40,)
    """
    rows = plan_numbers(plan) if numbers is None else numbers
    toe, heel, dress, pare, wedge, stack, setback, extension = np.moveaxis(rows, -1, 0)
    return PlanArrays(
        toe_trim_mm=toe,
        heel_trim_mm=heel,
        toe_dress_mm=dress,
        sole_pare_mm=pare,
        wedge_deg=wedge,
        stack_mm=stack,
        setback_mm=setback,
        heel_extension_mm=extension,
        is_shod=plan.shoe is not None,
        is_bevelled=plan.bevel_setback_mm is not None,
    )


def mean_heel_trim_mm(plan: Plan) -> float:
    """Return what comes off the heels in the side view: the mean of inside and outside.

    Notes
    -----
    A side not said takes ``heel_trim_mm``.

    Examples
    --------
    >>> mean_heel_trim_mm(Plan(heel_trim_mm=5.0, heel_trim_lateral_mm=7.0))
    6.0
    """
    sides = (plan.heel_trim_medial_mm, plan.heel_trim_lateral_mm)
    said = [plan.heel_trim_mm if side is None else side for side in sides]
    return sum(said) / len(said)


def bearing_ends(points: Points) -> BearingEnds:
    """Return where the dorsal wall and the heel wall meet the bearing line y = 0.

    Parameters
    ----------
    points : mapping of str to ndarray
        Landmarks (..., 2), foot frame, mm. Where a wall is not seen the ``toe`` or the
        ``heel`` dropped to the bearing line takes its place.

    Notes
    -----
    A wall marked level with the ground gives an infinite end. Source: geometry.

    Examples
    --------
    >>> wall = {"wall_proximal": np.array([0.0, 50.0]), "wall_distal": np.array([40.0, 10.0])}
    >>> bearing_ends(wall).toe.tolist()
    [50.0, 0.0]
    """
    toe, toe_run = _wall_end(points, "wall", "toe")
    heel, heel_run = _wall_end(points, "heel_wall", "heel")
    return BearingEnds(toe, heel, toe_run, heel_run)


def move_foot(points: Points, plan: PlanArrays) -> MovedFoot:
    """Return the foot after trim, dressing, wedge and shoe.

    Parameters
    ----------
    points : mapping of str to ndarray
        Landmarks (..., 2) of the bare foot in the foot frame, mm, bearing line at y = 0;
        ``p2_condyle`` is (..., k, 2). Without any toe nothing can be moved and the points
        come back as they are; without any heel both ends must be trimmed alike.
    plan : PlanArrays
        One plan, or an array of plans; broadcasts against the points.

    Returns
    -------
    MovedFoot
        Turned about the trimmed toe by -(phi + wedge); the middle phalanx turns by 0.017
        of that only. ``bearing_palmar`` and ``bearing_dorsal`` are the hoof's own bearing
        line after the trim.

    Raises
    ------
    DegenerateCircle
        If the points on the condyle lie on a line.

    Notes
    -----
    Source: geometry; the middle phalanx after Crevier-Denoix 2001, EVJ Suppl 33:74.

    Examples
    --------
    >>> foot = {"toe": np.array([100.0, 0.0]), "heel": np.array([0.0, 0.0])}
    >>> moved = move_foot(foot, plan_arrays(Plan(wedge_deg=3.0)))
    >>> moved.bearing_length_mm.item(), moved.points["bearing_palmar"].round(2).tolist()
    (100.0, [0.14, 5.23])
    """
    ends = bearing_ends(points)
    if ends.toe is None:
        return MovedFoot(dict(points), np.zeros(()), np.full((), np.nan))
    heel_start = ends.toe - _across(STAND_IN_LENGTH_MM) if ends.heel is None else ends.heel
    toe_run = np.zeros(()) if ends.toe_run is None else ends.toe_run
    heel_run = toe_run if ends.heel_run is None else ends.heel_run
    toe = _slide(ends.toe - _across(plan.toe_dress_mm), plan.toe_trim_mm, toe_run)
    heel = _slide(heel_start, plan.heel_trim_mm, heel_run)
    bearing = toe - heel
    phi = np.arctan2(bearing[..., 1], bearing[..., 0])
    turn = -(phi + np.radians(plan.wedge_deg))
    pose = _Pose(toe, turn, plan.stack_mm - toe[..., 1])
    pared = {**points, **_pare(points, plan.sole_pare_mm, toe, np.tan(phi))}
    moved = _turn_bones(pared, pose)
    moved["bearing_dorsal"] = pose.place(toe)
    moved["bearing_palmar"] = pose.place(heel)
    moved |= _contacts(points, ends, moved, plan)
    length = np.hypot(bearing[..., 0], bearing[..., 1])
    return MovedFoot(moved, np.degrees(phi), length * (1.0 if ends.heel is not None else np.nan))


@dataclass(frozen=True, slots=True)
class _Pose:
    """A turn (radians, counter-clockwise) about ``pivot``, then a lift (mm, up)."""

    pivot: Floats
    turn: Floats
    lift: Floats

    def place(self, point: Floats) -> Floats:
        moved = _turned(point, self.pivot, self.turn)
        lifted = np.broadcast_arrays(moved[..., 0], moved[..., 1] + self.lift)
        return np.stack(lifted, axis=-1)

    def place_arc(self, points: Floats) -> Floats:
        """Place (..., k, 2) points: the pose gets an axis for k."""
        arc = _Pose(self.pivot[..., None, :], self.turn[..., None], self.lift[..., None])
        return arc.place(points)


def _turned(point: Floats, pivot: Floats, turn: Floats) -> Floats:
    offset = point - pivot
    cos, sin = np.cos(turn), np.sin(turn)
    x = pivot[..., 0] + cos * offset[..., 0] - sin * offset[..., 1]
    y = pivot[..., 1] + sin * offset[..., 0] + cos * offset[..., 1]
    return np.stack(np.broadcast_arrays(x, y), axis=-1)


def _across(distance_mm: Floats | float) -> Floats:
    x = np.asarray(distance_mm, dtype=np.float64)
    return np.stack([x, np.zeros_like(x)], axis=-1)


def _wall_end(points: Points, wall: str, ground: str) -> tuple[Floats | None, Floats | None]:
    upper, lower = points.get(f"{wall}_proximal"), points.get(f"{wall}_distal")
    if upper is not None and lower is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            run = (lower[..., 0] - upper[..., 0]) / (upper[..., 1] - lower[..., 1])
            end = lower[..., 0] + lower[..., 1] * run
        return _across(end), run
    lowest = points.get(ground)
    return (None if lowest is None else _across(lowest[..., 0])), None


def _slide(end: Floats, trim_mm: Floats, run: Floats) -> Floats:
    """Return the end of a wall after a trim: up by the trim, back along the wall's own line."""
    x = end[..., 0] - trim_mm * run
    return np.stack(np.broadcast_arrays(x, end[..., 1] + trim_mm), axis=-1)


def _pare(points: Points, pare_mm: Floats, toe: Floats, slope: Floats) -> dict[str, Floats]:
    """Return the sole after paring; what the trim takes of it is gone too."""
    pared = {}
    for name in SOLE_POINTS:
        if name in points:
            x, y = points[name][..., 0], points[name][..., 1]
            rise = toe[..., 1] + (x - toe[..., 0]) * slope
            left = np.maximum(y + pare_mm, np.minimum(y, 0.0) + rise)
            pared[name] = np.stack(np.broadcast_arrays(x, left), axis=-1)
    return pared


def _turn_bones(points: Points, pose: _Pose) -> dict[str, Floats]:
    moved = {
        name: pose.place_arc(point) if name == "p2_condyle" else pose.place(point)
        for name, point in points.items()
        if name not in BEARING_POINTS and name not in P2_POINTS
    }
    centre = _p2_pivot(points)
    for name in P2_POINTS:
        if name in points and centre is not None:
            carried = pose.place(centre) + points[name] - centre
            moved[name] = _turned(carried, pose.place(centre), P2_SHARE * pose.turn)
    return moved


def _p2_pivot(points: Points) -> Floats | None:
    """Return what the middle phalanx turns about; its angle does not depend on the choice."""
    if "condyle_centre" in points:
        return points["condyle_centre"]
    circle = condyle_circle(points)
    return points.get("p2_dorsal_distal") if circle is None else circle.centre


def _contacts(points: Points, ends: BearingEnds, moved: Points, plan: PlanArrays) -> Points:
    """Return toe, heel and breakover as they meet the ground.

    A toe that the film shows in front of the wall's own line (a flare) stays as far in front.
    """
    contacts = {}
    front = _carried(points, "toe", ends.toe, moved["bearing_dorsal"], plan)
    if front is not None:
        contacts["toe"] = front
        if plan.is_shod or plan.is_bevelled:
            contacts["breakover"] = _across(front[..., 0] - plan.setback_mm)
    if "breakover" in points and "breakover" not in contacts and ends.toe is not None:
        contacts["breakover"] = _bare_breakover(points, ends.toe, moved, plan)
    back = _carried(points, "heel", ends.heel, moved["bearing_palmar"], plan)
    if back is not None:
        contacts["heel"] = back - _across(plan.heel_extension_mm)
    return contacts


def _carried(
    points: Points, name: str, start: Floats | None, end: Floats, plan: PlanArrays
) -> Floats | None:
    """Return a contact point as far from its end of the bearing line as it was."""
    if start is None or not (plan.is_shod or name in points):
        return None
    moved = end + points[name] - start if name in points else end
    return _across(moved[..., 0]) if plan.is_shod else moved


def _bare_breakover(points: Points, start: Floats, moved: Points, plan: PlanArrays) -> Floats:
    """Return the bare foot's breakover: carried with the trim, cut back as far as dressing goes."""
    offset = points["breakover"] - start
    toe = points.get("toe", start) - start
    ahead = np.minimum(offset[..., 0] + plan.toe_dress_mm, np.maximum(toe[..., 0], offset[..., 0]))
    front = moved["bearing_dorsal"]
    return np.stack(
        np.broadcast_arrays(front[..., 0] + ahead, front[..., 1] + offset[..., 1]), axis=-1
    )
