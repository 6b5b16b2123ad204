"""One foot at two visits, or two feet of a pair: readings that should not lie far apart."""

import math
from dataclasses import replace

import numpy as np

from referral.core.geometry.points import Floats
from referral.core.measure.readings import Reading
from referral.core.predict.plan import Plan
from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Setting
from referral.core.rules.kinds.bounded import bounded_findings
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import Quantity, find_quantity, plan_for, scale_doubt
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule

CLUB = "club_foot"


def judge_difference(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return how far a reading lies from the previous visit's or the opposite foot's.

    The size of the difference is judged, in the reading's unit, or in percent of the other
    reading for a ``relative`` rule. Against the other foot it is judged with the u of both;
    against the visit before it is compared as it is, since the limit there stands for scatter.

    Notes
    -----
    Propagation to first order of two readings that are independent: JCGM 100:2008, 5.1.2.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Measured, Profile
    >>> from referral.core.rules.facts import Facts, Previous
    >>> from referral.core.rules.inputs import Inputs
    >>> day = date(2026, 2, 1)
    >>> limit = Limit(day, "note", "textbook", "-", "deg", at_most=2)
    >>> rule = Rule(
    ...     "X07", "Bone", "Look.", "difference", "now", (limit,), "bone_angle_deg",
    ...     against="previous",
    ... )
    >>> def angle(value):
    ...     return {"bone_angle_deg": Reading("bone_angle_deg", value, 0.0, "deg", "none", "film")}
    >>> facts = Facts(previous=Previous(date(2026, 1, 1), angle(44.0)))
    >>> profile, now = Profile("LF", "adult_horse", day), {"now": Measured(angle(47.5))}
    >>> foot = Inputs(profile, now, facts=facts)
    >>> judge_difference(rule, (limit,), Setting(foot, day))[0].value
    3.5
    """
    measure, other = rule.measure or "", _other(rule, setting)
    if other is None and not setting.complete:
        return None
    if other is None or (rule.against == "previous" and measure not in other):
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NOT_COMPARED)]
    if rule.against == "opposite" and _is_club(setting):
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.CLUB_FOOT)]
    here = find_quantity(setting.inputs, measure, rule.stage)
    there = judgeable(other.get(measure))
    for quantity in (here, there):
        if quantity.reason is not None:
            return [outcome(rule, limits[0], "CANNOT_TELL", quantity.reason, quantity.detail)]
    found = _apart(here, there, relative=rule.relative)
    if rule.against == "previous" and found.reason is None:
        # what cannot change differs by scatter alone, and the limit is what scatter may do
        found = replace(found, u=0.0)
    return bounded_findings(rule, limits, found)


def judge_pair_lift(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return how much higher one foot of a pair stands than the other, by shoe and pad.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Shoe
    >>> from referral.core.rules.facts import Facts, Opposite
    >>> from referral.core.rules.inputs import Inputs
    >>> day = date(2026, 2, 1)
    >>> limit = Limit(day, "note", "common practice", "-", "mm", at_most=2)
    >>> kind = ("agreement_of_two", "after_fit")
    >>> rule = Rule("X08", "Lift", "Pair.", *kind, (limit,), of="pair_lift")
    >>> plan = Plan(shoe=Shoe("open", thickness_mm=10.0))
    >>> foot = Inputs(
    ...     Profile("LF", "adult_horse", day), {}, plan, facts=Facts(opposite=Opposite({}, 4.0))
    ... )
    >>> judge_pair_lift(rule, (limit,), Setting(foot, day))[0].value
    6.0
    """
    facts, plan = setting.inputs.facts, plan_for(setting.inputs, rule.stage)
    other = facts.opposite if facts else None
    if plan is None or (other is None and not setting.complete):
        return None
    if other is None:
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NOT_COMPARED)]
    if other.lift_mm is None:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "the other shoe")]
    return bounded_findings(rule, limits, Quantity(abs(_lift_mm(plan) - other.lift_mm), 0.0, "mm"))


def _lift_mm(plan: Plan) -> float:
    return plan.pad_mm + (plan.shoe.thickness_mm if plan.shoe else 0.0)


def _other(rule: Rule, setting: Setting) -> dict[str, Reading] | None:
    facts = setting.inputs.facts
    other = None if facts is None else getattr(facts, rule.against or "")
    return None if other is None else dict(other.readings)


def _is_club(setting: Setting) -> bool:
    facts = setting.inputs.facts
    other = facts.opposite if facts else None
    return CLUB in setting.inputs.profile.conditions or bool(other and other.is_club)


def judgeable(reading: Reading | None) -> Quantity:
    """Return the other reading, or why it is nothing to compare with.

    Examples
    --------
    >>> judgeable(None).reason.value
    'missing_reading'
    """
    if reading is None:
        return Quantity(reason=Reason.MISSING_READING, detail="the other one")
    if not (math.isfinite(reading.value) and math.isfinite(reading.u) and reading.u >= 0):
        return Quantity(reason=Reason.NOT_FINITE, detail="the other one")
    doubt = None
    if reading.unit == "mm":
        doubt = scale_doubt(reading.scale_state, reading.basis, conflict=False)
    return Quantity(reading.value, reading.u, reading.unit, doubt, "the other one" if doubt else "")


def _apart(here: Quantity, there: Quantity, *, relative: bool) -> Quantity:
    two, u_two = there.value or 0.0, there.u or 0.0
    if relative and two == 0.0:
        return Quantity(reason=Reason.NOT_POSITIVE, detail="the other one")
    value, u = apart(here.value or 0.0, here.u or 0.0, (two, u_two), relative=relative)
    return Quantity(float(value), float(u), "percent" if relative else here.unit)


def apart(
    one: Floats | float, u_one: Floats | float, other: tuple[float, float], *, relative: bool
) -> tuple[Floats, Floats]:
    """Return how far readings lie from another one, and the u of that.

    Parameters
    ----------
    one, u_one : float or ndarray (...)
        The readings and their u, in their unit.
    other : tuple of float
        The other reading and its u; not 0 if ``relative``.
    relative : bool
        Whether the distance is a share of the other reading, in percent.

    Returns
    -------
    tuple of ndarray, shapes (...)
        The size of the difference and its standard uncertainty.

    Notes
    -----
    To first order, of readings that are independent: JCGM 100:2008, 5.1.2.

    Examples
    --------
    >>> value, u = apart(47.5, 0.3, (44.0, 0.4), relative=False)
    >>> float(value), float(u)
    (3.5, 0.5)
    """
    two, u_two = other
    if not relative:
        return np.abs(one - np.float64(two)), np.hypot(u_one, u_two)
    ratio = one / np.float64(two)
    return 100.0 * np.abs(ratio - 1.0), 100.0 * np.hypot(u_one, ratio * u_two) / abs(two)
