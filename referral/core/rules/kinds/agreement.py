"""Two statements of one thing that must agree: a wedge in degrees and in millimetres."""

import math
from dataclasses import replace

import numpy as np

from referral.core.geometry.points import Floats
from referral.core.predict.plan import Plan
from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Inputs, Setting
from referral.core.rules.kinds.bounded import bounded_findings
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import Quantity, find_quantity, plan_for
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule

Numbers = Floats | float

AGREEMENT_REASONS = {
    "WITHIN": Reason.AGREES,
    "OUTSIDE": Reason.DISAGREES,
    "TOO_CLOSE": Reason.GUARD_BAND,
}


def wedge_angle_deg(height_mm: Numbers, length_mm: Numbers) -> Floats:
    """Return the angle of a wedge from its height at the heel and its length, degrees.

    Notes
    -----
    Source: plane geometry, t = L tan(theta).

    Examples
    --------
    >>> round(float(wedge_angle_deg(10.0, 120.0)), 2)
    4.76
    """
    angle: Floats = np.degrees(np.arctan2(height_mm, length_mm))
    return angle


def length_along_mm(bearing_mm: Numbers, behind_mm: float, wedge_deg: Numbers) -> Floats:
    """Return a wedge's length out of the bearing length read on the ground under it.

    The reading lies under a foot that the wedge has tilted, and has the shoe's heel in it.

    Examples
    --------
    >>> round(float(length_along_mm(128.0, 8.0, 3.0)), 2)
    120.16
    """
    along: Floats = (bearing_mm - np.float64(behind_mm)) / np.cos(np.radians(wedge_deg))
    return along


def angles_apart_deg(
    angle_deg: Numbers, height_mm: Numbers, length_mm: Numbers, length_u: Numbers
) -> tuple[Floats, Floats]:
    """Return how far degrees are from millimetres over a length, with the u of the length.

    Examples
    --------
    >>> value, u = angles_apart_deg(3.0, 6.29, 120.0, 0.0)
    >>> round(float(value), 2), float(u)
    (0.0, 0.0)
    """
    angle = wedge_angle_deg(height_mm, length_mm)
    # d(theta)/dL = t / (t^2 + L^2), written so that no square can overflow
    slope = np.sin(np.radians(np.abs(angle))) / np.hypot(height_mm, length_mm)
    return np.abs(angle_deg - angle), np.degrees(slope * length_u)


def judge_wedge(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding] | None:
    """Return whether a wedge's degrees and millimetres agree over its length.

    The length is the stated one, else the bearing length after the trim, with its u.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-", "deg", at_most=0.3)
    >>> rule = Rule("X05", "Wedge", "Measure.", "agreement_of_two", "after_fit", (limit,))
    >>> day = date(2026, 2, 1)
    >>> plan = Plan(wedge_deg=3.0, wedge_mm=6.29, wedge_length_mm=120.0)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, plan=plan)
    >>> judge_wedge(rule, (limit,), Setting(foot, day))[0].verdict
    'WITHIN'
    """
    plan = plan_for(setting.inputs, rule.stage)
    if plan is None:
        return None
    if not plan.wedge_deg and not plan.wedge_mm:
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NO_WEDGE)]
    if plan.wedge_mm is None:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.ONE_OF_TWO_MISSING, "no height in mm")]
    length = _wedge_length(plan, setting.inputs)
    if length.reason is not None:
        return [outcome(rule, limits[0], "CANNOT_TELL", length.reason, "wedge length in mm")]
    difference = _difference(plan.wedge_deg, plan.wedge_mm, length)
    return bounded_findings(rule, limits, difference, AGREEMENT_REASONS)


def _wedge_length(plan: Plan, inputs: Inputs) -> Quantity:
    """Return the length under the wedge: as stated, else the trimmed bearing length."""
    numbers = (plan.wedge_deg, plan.wedge_mm or 0.0, plan.wedge_length_mm or 0.0)
    if not all(map(math.isfinite, numbers)):
        return Quantity(reason=Reason.NOT_FINITE)
    if plan.wedge_length_mm is not None:
        return _positive(Quantity(plan.wedge_length_mm, 0.0, "mm"))
    bearing = find_quantity(inputs, "bearing_length_mm", "after_fit")
    if bearing.value is None or bearing.reason is not None:
        return bearing
    behind = plan.shoe.heel_extension_mm if plan.shoe else 0.0
    along = length_along_mm(bearing.value, behind, plan.wedge_deg)
    return _positive(replace(bearing, value=float(along)))


def _positive(length: Quantity) -> Quantity:
    value = length.value or 0.0
    if 0.0 < value < math.inf:
        return length
    return replace(length, reason=Reason.NOT_POSITIVE)


def _difference(angle_deg: float, height_mm: float, length: Quantity) -> Quantity:
    value, u = angles_apart_deg(angle_deg, height_mm, length.value or 0.0, length.u or 0.0)
    return Quantity(float(value), float(u), "deg")
