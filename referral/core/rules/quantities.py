"""Find the value a limit is about, or say why it cannot be judged."""

import math
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.measure.readings import LENGTH_STATES_JUDGED, Measured, Reading
from referral.core.measure.registry import MEASURES
from referral.core.measure.views import VIEWS
from referral.core.predict.plan import Plan
from referral.core.rules.inputs import Inputs
from referral.core.rules.reasons import Reason
from referral.core.units import unit_of

PLAN_MEASURES = MappingProxyType(
    {
        "toe_trim_mm": "mm",
        "heel_trim_mm": "mm",
        "toe_dress_mm": "mm",
        "sole_pare_mm": "mm",
        "wedge_deg": "deg",
        "wedge_mm": "mm",
        "interval_weeks": "weeks",
    }
)
"""What a plan itself says and a limit may be about, with its unit."""

STATED_STATES_JUDGED = frozenset({"marker", "corrected"})
RESPONSE_VARIES = "phalangeal_rotation_deg"
FOR_WANT_OF_SCALE = ("no scale", "needs a scale")
"""How the reason begins of a reading that is absent because the film has no scale."""

FORETOLD = frozenset({"after_fit", "at_due", "change"})


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its u and unit; ``reason`` says why it cannot be judged, if so."""

    value: float | None = None
    u: float | None = None
    unit: str | None = None
    reason: Reason | None = None
    detail: str = ""


def is_supplied(inputs: Inputs, measure: str, stage: str) -> bool:
    """Return whether the plan or the fitting that this stage needs was supplied at all.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> bare = Inputs(Profile("LF", "adult_horse", date(2026, 1, 1)), {})
    >>> is_supplied(bare, "palmar_angle_deg", "now"), is_supplied(bare, "heel_trim_mm", "after_fit")
    (True, False)
    """
    if measure not in PLAN_MEASURES and (stage == "now" or stage in inputs.stages):
        return True
    return plan_for(inputs, stage) is not None


def find_quantity(inputs: Inputs, measure: str, stage: str) -> Quantity:
    """Return the value of a measure at a stage, judgeable or with the reason why not.

    Returns
    -------
    Quantity
        In the unit of the measure's name. Lengths of a film need a scale that may
        be judged; angles and ratios do not. What a plan says has u = 0.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> foot = Profile("LF", "adult_horse", date(2026, 1, 1))
    >>> planned = Inputs(foot, {}, plan=Plan(heel_trim_mm=5.0))
    >>> find_quantity(planned, "heel_trim_mm", "after_fit").value
    5.0
    """
    if measure in PLAN_MEASURES:
        return _planned(plan_for(inputs, stage), measure)
    measured = inputs.stages.get(stage)
    if measured is None:
        return Quantity(reason=Reason.MISSING_STAGE)
    reading = measured.readings.get(measure)
    if measure == RESPONSE_VARIES and (stage in FORETOLD or _is_predicted(reading)):
        return Quantity(reason=Reason.JOINT_RESPONSE_VARIES)
    if reading is None:
        return _absent(inputs, measured, measure)
    return Quantity(reading.value, reading.u, reading.unit, _doubt(inputs, reading))


def is_outside(measure: str) -> bool:
    """Return whether a reading is taken on the outside of the foot or off a photo, not a film.

    Examples
    --------
    >>> is_outside("frog_width_length_ratio"), is_outside("palmar_angle_deg")
    (True, False)
    """
    known = MEASURES.get(measure)
    return known is not None and VIEWS[known.view].is_photo


def scale_doubt(state: str, basis: str, *, conflict: bool) -> Reason | None:
    """Return why a length in this scale state is not judged, or ``None`` if it may be.

    Examples
    --------
    >>> scale_doubt("estimated", "film", conflict=False).value
    'scale_estimated'
    """
    judged = STATED_STATES_JUDGED if basis == "stated" else LENGTH_STATES_JUDGED
    if state in judged:
        return None
    if conflict and basis != "stated":
        return Reason.SCALE_CONFLICT
    if state == "estimated":
        return Reason.SCALE_ESTIMATED
    return Reason.SCALE_EXTERNAL if state == "external" else Reason.NO_SCALE


def plan_for(inputs: Inputs, stage: str) -> Plan | None:
    """Return the plan that a stage is about: as fitted once it is done, else as planned.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> plan, done = Plan(heel_trim_mm=5.0), Plan(heel_trim_mm=3.0)
    >>> foot = Profile("LF", "adult_horse", date(2026, 1, 1))
    >>> plan_for(Inputs(foot, {}, plan, done, is_done=True), "after_fit").heel_trim_mm
    3.0
    """
    return inputs.as_fitted if stage == "as_fitted" or inputs.is_done else inputs.plan


def _planned(plan: Plan | None, measure: str) -> Quantity:
    unit = PLAN_MEASURES[measure]
    sides = (plan.heel_trim_medial_mm, plan.heel_trim_lateral_mm) if plan else ()
    said = [getattr(plan, measure, None)]
    if measure == "heel_trim_mm":  # the side that loses most is the one that counts
        said.extend(sides)
    values = [value for value in said if value is not None]
    if not values:
        return Quantity(unit=unit, reason=Reason.MISSING_FACT)
    if not all(map(math.isfinite, values)):
        return Quantity(unit=unit, reason=Reason.NOT_FINITE)
    return Quantity(max(values), 0.0, unit)


def _is_predicted(reading: Reading | None) -> bool:
    return reading is not None and reading.basis == "predicted"


def _absent(inputs: Inputs, measured: Measured, measure: str) -> Quantity:
    why = measured.absent.get(measure, "")
    reason = Reason.MISSING_READING
    if why.startswith(FOR_WANT_OF_SCALE):
        if inputs.film is not None and inputs.film.scale.conflict:
            return Quantity(unit=unit_of(measure), reason=Reason.SCALE_CONFLICT)
        reason, why = Reason.NO_SCALE, why.partition(": ")[2]
    return Quantity(unit=unit_of(measure), reason=reason, detail=why)


def _doubt(inputs: Inputs, reading: Reading) -> Reason | None:
    if not (math.isfinite(reading.value) and math.isfinite(reading.u) and reading.u >= 0):
        return Reason.NOT_FINITE
    if reading.unit != "mm":
        return None
    conflict = inputs.film is not None and inputs.film.scale.conflict
    return scale_doubt(reading.scale_state, reading.basis, conflict=conflict)
