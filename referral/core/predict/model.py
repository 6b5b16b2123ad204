"""Foot and plan as one function of all their inputs, so that nothing is propagated twice."""

from dataclasses import dataclass, replace

import numpy as np

from referral.core.geometry.lines import difference_deg
from referral.core.geometry.points import Floats
from referral.core.measure.lateromedial import lateromedial_readings
from referral.core.predict.foot import Foot, Points
from referral.core.predict.growth import Rate
from referral.core.predict.move import (
    PLAN_NUMBERS,
    MovedFoot,
    PlanArrays,
    bearing_ends,
    mean_heel_trim_mm,
    move_foot,
    plan_arrays,
    plan_numbers,
)
from referral.core.predict.plan import Plan

FORECAST = (
    "palmar_angle_deg",
    "breakover_distance_mm",
    "toe_arm_mm",
    "heel_arm_mm",
    "behind_centre_percent",
)
"""The readings that have a growth model."""

STILL = Rate(0.0, 0.0, "", "")


@dataclass(frozen=True, slots=True)
class Model:
    """A foot, a plan and the rates of change; calling it gives every reading of every stage.

    ``weeks`` is the interval to the due date, ``weeks_before`` the growth assumed between
    film and fitting; ``drift`` is ``None`` where the palmar angle has no growth model.
    """

    foot: Foot
    plan: Plan
    growth: Rate
    drift: Rate | None
    weeks: float | None
    weeks_before: float = 0.0

    def inputs(self) -> tuple[Floats, Floats]:
        """Return the input vector and its standard uncertainties, shape (n,).

        The foot's inputs, the plan's numbers (u: how well it is carried out), growth, drift.
        """
        numbers = plan_numbers(self.plan)
        rates = [self.growth, self.drift or STILL]
        x0 = [*self.foot.x0, *numbers, *(rate.per_week for rate in rates)]
        u_rates = [abs(rate.per_week) * rate.relative_u for rate in rates]
        u = [*self.foot.u, *_execution_u(self.plan), *u_rates]
        return np.asarray(x0, dtype=np.float64), np.asarray(u, dtype=np.float64)

    def __call__(self, x: Floats) -> dict[str, Floats]:
        """Return ``stage:code`` -> values (...) for inputs (..., n).

        Stages are ``now after_fit at_due change`` (after fit less now) and ``change_at_due``;
        ``turn:`` holds ``phi_deg``, ``lift_deg`` and ``bearing_length_mm``.
        """
        count = len(self.foot.x0)
        foot_inputs, numbers = x[..., :count], x[..., count:-2]
        now = lateromedial_readings(self.foot.shown(foot_inputs))
        return self.stages(self.foot.bare(foot_inputs), now, numbers, x[..., -2:])

    def stages(
        self, bare: Points, now: dict[str, Floats], numbers: Floats, rates: Floats
    ) -> dict[str, Floats]:
        """Return what calling the model does, of a foot that is already placed.

        ``bare`` are its landmarks with the old device off, ``now`` its readings as filmed,
        ``numbers`` (..., 8) one plan or many, ``rates`` (..., 2) growth and drift a week.
        """
        growth, drift = rates[..., 0], rates[..., 1]
        moved, plan = self._move(bare, numbers, growth)
        after = readings_after(bare, moved, plan)
        stages = {"now": now, "after_fit": after}
        stages["change"] = _less(after, now)
        if self.weeks is not None:
            forward = _forward_mm(bare, growth * self.weeks)
            due = _at_due(after, forward, drift * self.weeks)
            stages["at_due"] = due
            stages["change_at_due"] = _less(due, now)
        stages["turn"] = {
            "phi_deg": moved.phi_deg,
            "lift_deg": moved.phi_deg + plan.wedge_deg,
            "bearing_length_mm": moved.bearing_length_mm,
        }
        return {
            f"{stage}:{code}": v for stage, found in stages.items() for code, v in found.items()
        }

    def _move(
        self, bare: Points, numbers: Floats, growth_mm: Floats
    ) -> tuple[MovedFoot, PlanArrays]:
        plan = plan_arrays(self.plan, numbers)
        plan = _grown(bare, plan, growth_mm * self.weeks_before)
        if not self.plan.wedge_mm or self.plan.wedge_deg != 0:
            return move_foot(bare, plan), plan
        length = self.plan.wedge_length_mm or move_foot(bare, plan).bearing_length_mm
        wedge = plan.wedge_deg + np.degrees(np.arctan2(self.plan.wedge_mm, length))
        plan = replace(plan, wedge_deg=wedge)
        return move_foot(bare, plan), plan


def readings_after(bare: Points, moved: MovedFoot, plan: PlanArrays) -> dict[str, Floats]:
    """Return the readings of a moved foot.

    Parameters
    ----------
    bare : dict of str to ndarray
        The landmarks before the plan, foot frame, mm.
    moved : MovedFoot
        The same foot after it.
    plan : PlanArrays
        The plan; dressing the toe thins the wall at the tip and leaves it higher up.

    Returns
    -------
    dict of str to ndarray
        Code -> values (...), in the unit that the code ends in.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> bare = {"toe": np.array([40.0, 0.0]), "p3_tip": np.array([0.0, 15.0])}
    >>> plan = plan_arrays(Plan(toe_dress_mm=4.0))
    >>> float(readings_after(bare, move_foot(bare, plan), plan)["toe_distance_mm"])
    36.0
    """
    after = lateromedial_readings(moved.points)
    thickness = after.get("wall_thickness_distal_mm")
    if thickness is not None:
        run = bearing_ends(bare).toe_run
        sine = 1.0 / np.hypot(1.0, 0.0 if run is None else run)
        after["wall_thickness_distal_mm"] = thickness - plan.toe_dress_mm * sine
    return after


def _execution_u(plan: Plan) -> list[float]:
    """Return the u of doing, in the order of ``PLAN_NUMBERS``; what is not done has none."""
    u = plan.execution_u
    trims = plan.toe_trim_mm != 0 or mean_heel_trim_mm(plan) != 0
    shod = plan.shoe is not None
    wedges = plan.wedge_deg != 0 or bool(plan.wedge_mm)
    done = {
        "toe_trim_mm": u.trim_mm if trims else 0.0,
        "heel_trim_mm": u.trim_mm if trims else 0.0,
        "toe_dress_mm": u.length_mm if plan.toe_dress_mm else 0.0,
        "sole_pare_mm": u.trim_mm if plan.sole_pare_mm else 0.0,
        "wedge_deg": u.wedge_deg if wedges else 0.0,
        "setback_mm": u.breakover_mm if shod or plan.bevel_setback_mm is not None else 0.0,
        "heel_extension_mm": u.length_mm if shod else 0.0,
    }
    return [done.get(name, 0.0) for name in PLAN_NUMBERS]


def _grown(bare: Points, plan: PlanArrays, growth_mm: Floats) -> PlanArrays:
    """Return the plan as it acts on the filmed foot: growth since is horn not yet there."""
    ends = bearing_ends(bare)
    toe_run = 0.0 if ends.toe_run is None else ends.toe_run
    heel_run = toe_run if ends.heel_run is None else ends.heel_run
    return replace(
        plan,
        toe_trim_mm=plan.toe_trim_mm - growth_mm / np.hypot(1.0, toe_run),
        heel_trim_mm=plan.heel_trim_mm - growth_mm / np.hypot(1.0, heel_run),
    )


def _less(late: dict[str, Floats], early: dict[str, Floats]) -> dict[str, Floats]:
    both = [code for code in late if code in early]
    return {
        code: difference_deg(late[code], early[code])
        if code.endswith("_deg")
        else late[code] - early[code]
        for code in both
    }


def _forward_mm(bare: Points, growth_mm: Floats) -> Floats | None:
    """Return how far growth along the filmed dorsal wall carries the toe forward: g w cos S."""
    run = bearing_ends(bare).toe_run
    return None if run is None else growth_mm * run / np.hypot(1.0, run)


def _at_due(
    after: dict[str, Floats], forward: Floats | None, drift_deg: Floats
) -> dict[str, Floats]:
    due = {}
    if "palmar_angle_deg" in after:
        due["palmar_angle_deg"] = after["palmar_angle_deg"] + drift_deg
    if forward is None:
        return due
    ways = {"breakover_distance_mm": 1.0, "toe_arm_mm": 1.0, "heel_arm_mm": -1.0}
    due |= {code: after[code] + way * forward for code, way in ways.items() if code in after}
    if "toe_arm_mm" in due and "heel_arm_mm" in due:
        base = due["toe_arm_mm"] + due["heel_arm_mm"]
        due["behind_centre_percent"] = 100.0 * due["heel_arm_mm"] / base
    return due
