"""Which limits a window tests, and the numbers of every plan that they are tested on."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from referral.core.geometry.points import Floats
from referral.core.predict.many import Bools, ManyPredictions, Variants
from referral.core.predict.plan import Plan
from referral.core.predict.possible import heel_spread_mm
from referral.core.rules.claims import Claim, Settled
from referral.core.rules.finding import Finding
from referral.core.rules.grid import Ask
from referral.core.rules.guard import Bound
from referral.core.rules.inputs import Inputs
from referral.core.rules.many import OUTSIDE, WITHIN, ManyQuantities, decide_many
from referral.core.rules.quantities import PLAN_MEASURES, RESPONSE_VARIES
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import severity_rank
from referral.core.rules.threshold import claimed_quantity
from referral.core.units import unit_of

STAGES_TESTED = frozenset({"after_fit", "at_due", "change"})
"""Stages that a plan still decides: what was read before it, or after the fitting, stands."""

MUST = severity_rank("breach")


@dataclass(frozen=True, slots=True)
class Tested:
    """A limit or rule that a window tests, with the bounds of it that count."""

    claim: Claim
    bounds: tuple[Bound, ...]

    @property
    def is_must(self) -> bool:
        """Return whether a bound of it is a must of the vet's or of breach level."""
        return any(severity_rank(bound.severity) >= MUST for bound in self.bounds)


@dataclass(frozen=True, slots=True)
class Unchecked:
    """A limit or rule that a window would test and cannot, and why."""

    rule: str
    reason: Reason
    is_must: bool


@dataclass(frozen=True, slots=True)
class Tries:
    """The plans tried: what they are, what they make of the foot; arrays of one shape (...)."""

    plan: Plan
    variants: Variants
    predictions: ManyPredictions

    @property
    def wedge_mm(self) -> Floats:
        """Return the height of each wedge, shape (...); NaN where its length is not known."""
        angle = self.variants.wedge_deg
        length = self.plan.wedge_length_mm or self.predictions.bearing_length_mm
        return np.where(angle == 0.0, 0.0, length * np.tan(np.radians(angle)))


def tested_of(settled: Iterable[Settled], ask: Ask) -> tuple[Tested, ...]:
    """Return what a window tests of the claims on a foot, in their order.

    Examples
    --------
    >>> from referral.core.rules.claims import case_claim, settle
    >>> from referral.core.rules.finding import CaseLimit
    >>> stages = ("now", "at_due")
    >>> limits = [CaseLimit("palmar_angle_deg", stage, "must", at_least=3) for stage in stages]
    >>> claims = settle([case_claim(index, limit) for index, limit in enumerate(limits)])
    >>> [tested.claim.rule for tested in tested_of(claims, Ask())]
    ['case:1']
    """
    found = (Tested(each.claim, _bounds(each, ask)) for each in settled)
    return tuple(each for each in found if each.bounds)


def other_kinds(findings: Iterable[Finding], ask: Ask) -> tuple[Unchecked, ...]:
    """Return the rules of breach level that are no limit on one number, so not tested here.

    Examples
    --------
    >>> other_kinds((), Ask())
    ()
    """
    rules = {
        finding.rule
        for finding in findings
        if ask.against == "all"
        and finding.verdict != "NOT_APPLICABLE"
        and finding.stage in STAGES_TESTED
        and severity_rank(finding.severity) >= MUST
    }
    return tuple(Unchecked(rule, Reason.NOT_OVER_PLANS, is_must=True) for rule in sorted(rules))


def quantities_of(tested: Tested, inputs: Inputs, tries: Tries) -> ManyQuantities | Unchecked:
    """Return the number that a limit is about for every plan tried, or why there is none.

    Parameters
    ----------
    tested : Tested
        The limit.
    inputs : Inputs
        The foot with the farrier's own plan; u is the one it has there.
    tries : Tries
        The plans tried.

    Returns
    -------
    ManyQuantities or Unchecked
        In the unit of the measure's name; unchecked if it is known of no plan.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Measured, Profile
    >>> from referral.core.predict.many import predict_many
    >>> from referral.core.predict.prediction import outlook_of
    >>> from referral.core.rules.claims import case_claim
    >>> from referral.core.rules.finding import CaseLimit
    >>> foot = Profile("LF", "adult_horse", date(2026, 11, 25))
    >>> variants = Variants(np.zeros(2), np.array([0.0, 4.0]), np.zeros(2))
    >>> found = predict_many(outlook_of(None, Measured(), Plan(), foot), foot, variants, [])
    >>> claim = case_claim(0, CaseLimit("heel_trim_mm", "after_fit", "must", at_most=3))
    >>> inputs, tries = Inputs(foot, {}, Plan()), Tries(Plan(), variants, found)
    >>> quantities_of(Tested(claim, claim.bounds), inputs, tries).values.tolist()
    [0.0, 4.0]
    """
    claim = tested.claim
    at_plan = claimed_quantity(claim, inputs)
    if {bound.unit for bound in tested.bounds} != {unit_of(claim.measure)}:
        return Unchecked(claim.rule, Reason.UNIT_MISMATCH, tested.is_must)
    if claim.measure in PLAN_MEASURES:
        found = _planned(claim.measure, at_plan.value, tries)
    else:
        found = _foretold(claim, tries)
    if found is not None and found.known.any():
        return found
    return Unchecked(claim.rule, at_plan.reason or Reason.NO_PLAN_TELLS, tested.is_must)


def verdicts_of(tested: Tested, quantities: ManyQuantities) -> tuple[Bools, Bools]:
    """Return which plans are within every bound of a limit, and which are not outside any.

    What is not outside and not within is too close to call. What is not known is neither.

    Examples
    --------
    >>> from referral.core.rules.claims import case_claim
    >>> from referral.core.rules.finding import CaseLimit
    >>> claim = case_claim(0, CaseLimit("heel_trim_mm", "after_fit", "must", at_most=3))
    >>> trims = ManyQuantities(np.array([2.0, 4.0]), 0.0, np.ones(2, bool))
    >>> within, not_outside = verdicts_of(Tested(claim, claim.bounds), trims)
    >>> within.tolist(), not_outside.tolist()
    ([True, False], [True, False])
    """
    codes = np.stack([decide_many(quantities, bound) for bound in tested.bounds])
    return (codes == WITHIN).all(axis=0), (codes != OUTSIDE).all(axis=0) & quantities.known


def _bounds(settled: Settled, ask: Ask) -> tuple[Bound, ...]:
    claim = settled.claim
    if claim.stage not in STAGES_TESTED:
        return ()
    if claim.origin == "case":
        least = severity_rank("caution") if ask.include_should else MUST
    elif ask.against == "all":
        least = MUST
    else:
        return ()
    return tuple(bound for bound in settled.kept if severity_rank(bound.severity) >= least)


def _foretold(claim: Claim, tries: Tries) -> ManyQuantities | None:
    reading = tries.predictions.readings.get((claim.stage, claim.measure))
    if reading is None or claim.measure == RESPONSE_VARIES:
        return None
    return ManyQuantities(reading.values, reading.u, reading.known)


def _planned(measure: str, at_plan: float | None, tries: Tries) -> ManyQuantities | None:
    """Return what the plans themselves say; what is not varied is what the farrier's says."""
    variants = tries.variants
    varied = {
        "toe_trim_mm": variants.toe_trim_mm,
        # the side that loses most is the one that counts
        "heel_trim_mm": variants.heel_trim_mm + heel_spread_mm(tries.plan)[1],
        "wedge_deg": variants.wedge_deg,
        "wedge_mm": tries.wedge_mm,
    }
    values = varied.get(measure)
    if values is None:
        if at_plan is None:
            return None
        values = np.full(variants.toe_trim_mm.shape, at_plan)
    return ManyQuantities(values, 0.0, np.isfinite(values))
