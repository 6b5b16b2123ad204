"""Numbers that rules compare and that are neither one reading nor one entry of a plan."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.measure.readings import Reading
from referral.core.predict.plan import Plan, Shoe
from referral.core.rules.inputs import Inputs
from referral.core.rules.quantities import Quantity, find_quantity, plan_for
from referral.core.rules.reasons import Reason

BARS = frozenset(
    {
        "open_toe_bar",
        "straight_bar",
        "egg_bar",
        "heart_bar",
        "egg_heart",
        "open_toe_egg_bar",
        "z_bar",
        "diagonal_bar",
        "half_bar",
    }
)
"""Categories of shoes whose heels are joined or whose bar bears on the foot."""

SHORT = frozenset({"three_quarter", "tip"})
"""Categories that leave a heel bare by their making, so that their fit says nothing of it."""

MM2_PER_CM2 = 100.0


@dataclass(frozen=True, slots=True)
class Derived:
    """A number rules compare: its name, unit, and how it is found for a foot and a plan."""

    name: str
    unit: str
    find: Callable[[Inputs, Plan], Quantity]


def derived_quantity(inputs: Inputs, measure: str, stage: str) -> Quantity:
    """Return a number of ``DERIVED`` at a stage, judgeable or with the reason why not.

    Returns
    -------
    Quantity
        In the unit that ``DERIVED`` names. Lengths taken on the outside of the foot count as
        they are, with their own u: they are about the outside of the foot alone.

    Raises
    ------
    KeyError
        If there is no such number.

    Notes
    -----
    Each is a sum or a share of what was measured or said; the limits on them have their own
    sources in the rule files. Mass over area after Turner, 4 pi m / C^2 (from memory).

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> foot = Profile("LF", "adult_horse", date(2026, 1, 1))
    >>> plan = Plan(shoe=Shoe("open", heel_extension_mm=24.0))
    >>> derived_quantity(Inputs(foot, {}, plan), "shoe_behind_heel_mm", "after_fit").value
    24.0
    """
    known = DERIVED[measure]
    found = known.find(inputs, plan_for(inputs, stage) or Plan())
    return Quantity(found.value, found.u, known.unit, found.reason, found.detail)


def quantity_of(inputs: Inputs, measure: str, stage: str) -> Quantity:
    """Return the value a rule is about: derived, of the plan, or a reading.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> foot = Inputs(Profile("LF", "adult_horse", date(2026, 1, 1)), {}, Plan(heel_trim_mm=5.0))
    >>> quantity_of(foot, "heel_trim_mm", "after_fit").value
    5.0
    """
    if measure in DERIVED:
        return derived_quantity(inputs, measure, stage)
    return find_quantity(inputs, measure, stage)


def has_wedge(plan: Plan) -> bool:
    """Return whether a plan wedges the foot, by degrees or by millimetres.

    Examples
    --------
    >>> has_wedge(Plan()), has_wedge(Plan(wedge_mm=6.0))
    (False, True)
    """
    return bool(plan.wedge_deg or plan.wedge_mm)


def has_bar(plan: Plan) -> bool:
    """Return whether the plan's shoe is a bar shoe.

    Examples
    --------
    >>> has_bar(Plan(shoe=Shoe("egg_bar"))), has_bar(Plan(shoe=Shoe("open")))
    (True, False)
    """
    return plan.shoe is not None and plan.shoe.category in BARS


def outside_reading(inputs: Inputs, code: str) -> Reading | None:
    """Return a reading of the foot as it is, whatever its scale; ``None`` if it is no number.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> foot = Inputs(Profile("LF", "adult_horse", date(2026, 1, 1)), {})
    >>> outside_reading(foot, "foot_length_mm") is None
    True
    """
    now = inputs.stages.get("now")
    reading = now.readings.get(code) if now else None
    if reading is None or not (math.isfinite(reading.value) and math.isfinite(reading.u)):
        return None
    return reading


def _said(value: float | None, detail: str) -> Quantity:
    if value is None:
        return Quantity(reason=Reason.MISSING_FACT, detail=detail)
    if not math.isfinite(value):
        return Quantity(reason=Reason.NOT_FINITE, detail=detail)
    return Quantity(float(value), 0.0)


def _of_shoe(plan: Plan, key: str, detail: str) -> Quantity:
    return _said(getattr(plan.shoe, key, None), detail)


def _nail_count(_inputs: Inputs, plan: Plan) -> Quantity:
    nails = plan.nails
    count = None if nails is None else nails.count or len(nails.holes) or nails.count
    return _said(count, "number of nails")


def _nail_spacing(_inputs: Inputs, plan: Plan) -> Quantity:
    return _said(plan.nails.spacing_mm if plan.nails else None, "least spacing of the nails")


def _last_nail(_inputs: Inputs, plan: Plan) -> Quantity:
    behind = plan.nails.last_behind_widest_mm if plan.nails else None
    return _said(behind, "last nail behind the widest part")


def _last_nail_share(inputs: Inputs, plan: Plan) -> Quantity:
    """Return how far back the last nail stands, from the toe, as a share of the foot's length."""
    behind = _last_nail(inputs, plan)
    length = outside_reading(inputs, "foot_length_mm")
    back = outside_reading(inputs, "heel_to_widest_mm")
    if behind.value is None:
        return behind
    if length is None or back is None or length.value <= 0.0:
        return Quantity(reason=Reason.MISSING_READING, detail="foot length and heels to widest")
    share = (length.value - back.value + behind.value) / length.value
    # of a ratio a/b of readings that are placed apart: u^2 = (u_a^2 + (a/b)^2 u_b^2) / b^2
    spread = math.hypot(back.u, (1.0 - share) * length.u) / length.value
    return Quantity(100.0 * share, 100.0 * spread)


def _clip_to_crack(_inputs: Inputs, plan: Plan) -> Quantity:
    if not plan.clips:
        return Quantity(reason=Reason.NO_CLIP)
    said = [clip.crack_distance_mm for clip in plan.clips if clip.crack_distance_mm is not None]
    return _said(min(said, default=None), "distance of the clip from the crack")


def _sole_clearance(_inputs: Inputs, plan: Plan) -> Quantity:
    return _of_shoe(plan, "sole_clearance_mm", "clearance of the sole")


def _behind_heel(_inputs: Inputs, plan: Plan) -> Quantity:
    return _of_shoe(plan, "heel_extension_mm", "heels of the shoe")


def _cover(_inputs: Inputs, plan: Plan) -> Quantity:
    """Return how far the shoe reaches past the foot at its heels where it does so least."""
    shoe = plan.shoe or Shoe("")
    if shoe.category in SHORT:
        return Quantity(reason=Reason.MISSING_FACT, detail="this shoe leaves a heel bare")
    sides = (shoe.heel_extension_mm, shoe.medial_extension_mm, shoe.lateral_extension_mm)
    return _said(min(sides), "")


def _past(code: str) -> Callable[[Inputs, Plan], Quantity]:
    """Return what finds how far the shoe's heels lie behind a line measured on the bare foot."""

    def find(inputs: Inputs, plan: Plan) -> Quantity:
        line = outside_reading(inputs, code)
        if line is None:
            return Quantity(reason=Reason.MISSING_READING, detail="measured on the bare foot")
        extension = plan.shoe.heel_extension_mm if plan.shoe else 0.0
        return Quantity(line.value + _heel_slides_mm(inputs, plan) + extension, line.u)

    return find


def _heel_slides_mm(inputs: Inputs, plan: Plan) -> float:
    """Return how far back the trim takes the heels along their wall; 0 where that is unknown."""
    sides = (plan.heel_trim_medial_mm, plan.heel_trim_lateral_mm)
    trim_mm = min([side for side in sides if side is not None], default=plan.heel_trim_mm)
    for code in ("heel_angle_deg", "photo_heel_angle_deg"):
        heel = outside_reading(inputs, code)
        if heel is not None and 0.0 < heel.value < 90.0:  # noqa: PLR2004 - upright
            return trim_mm / math.tan(math.radians(heel.value))
    return 0.0


def _apart(one: str, other: str, *, size: bool) -> Callable[[Inputs, Plan], Quantity]:
    """Return what finds one reading less another, or the size of that."""

    def find(inputs: Inputs, _plan: Plan) -> Quantity:
        first, second = outside_reading(inputs, one), outside_reading(inputs, other)
        if first is None or second is None:
            return Quantity(reason=Reason.MISSING_READING)
        difference = first.value - second.value
        return Quantity(abs(difference) if size else difference, math.hypot(first.u, second.u))

    return find


def _mass_per_area(inputs: Inputs, _plan: Plan) -> Quantity:
    facts = inputs.facts
    mass = facts.body_mass_kg if facts else None
    around = facts.coronet_circumference_mm if facts else None
    if mass is None or around is None:
        return Quantity(reason=Reason.MISSING_FACT, detail="weight and girth of the coronet")
    if not 0.0 < around < math.inf:
        return Quantity(reason=Reason.NOT_POSITIVE, detail="girth of the coronet")
    area_cm2 = around**2 / (4.0 * math.pi) / MM2_PER_CM2
    return _said(mass / area_cm2, "weight")


def _resets_in_device(inputs: Inputs, plan: Plan) -> Quantity:
    if not (has_wedge(plan) or has_bar(plan)):
        return Quantity(reason=Reason.NO_DEVICE)
    count = inputs.facts.resets_in_device if inputs.facts else None
    return _said(count, "visits in this device")


DERIVED: Mapping[str, Derived] = MappingProxyType(
    {
        "nail_count": Derived("Number of nails", "nails", _nail_count),
        "nail_spacing_mm": Derived("Least spacing of the nails", "mm", _nail_spacing),
        "last_nail_behind_widest_mm": Derived("Last nail behind the widest part", "mm", _last_nail),
        "last_nail_from_toe_percent": Derived(
            "Last nail, from the toe over the foot's length", "percent", _last_nail_share
        ),
        "clip_to_crack_mm": Derived("Clip to the crack", "mm", _clip_to_crack),
        "sole_clearance_mm": Derived("Shoe to sole", "mm", _sole_clearance),
        "shoe_behind_heel_mm": Derived("Shoe behind the trimmed heel", "mm", _behind_heel),
        "shoe_cover_mm": Derived("Shoe past the foot at the heels", "mm", _cover),
        "shoe_past_plumb_line_mm": Derived(
            "Shoe's heels behind the plumb line", "mm", _past("plumb_to_heel_mm")
        ),
        "shoe_past_frog_line_mm": Derived(
            "Shoe's heels behind the frog line", "mm", _past("heel_to_frog_widest_mm")
        ),
        "heel_length_difference_mm": Derived(
            "One heel longer than the other",
            "mm",
            _apart("heel_medial_length_mm", "heel_lateral_length_mm", size=True),
        ),
        "gauge_toe_heel_difference_deg": Derived(
            "Toe less heel, by gauge or photo",
            "deg",
            _apart("photo_wall_angle_deg", "photo_heel_angle_deg", size=False),
        ),
        "mass_per_area": Derived("Weight over the foot's area", "kg/cm²", _mass_per_area),
        "resets_in_device": Derived("Visits in a wedge or bar", "visits", _resets_in_device),
    }
)
"""By code; only rules may be about these, not the vet's limits on a case."""
