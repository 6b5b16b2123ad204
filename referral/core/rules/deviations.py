"""Where what was fitted differs from what was planned, and by more than agreed.

The one table of what is compared. The agreed tolerances are those of the rule on
fitting as planned (common practice, no source); a rulebook may give others.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.predict.plan import Plan
from referral.core.rules.guard import TOLERANCE

AGREED: Mapping[str, float] = MappingProxyType(
    {"height_mm": 2.0, "length_mm": 2.0, "breakover_mm": 3.0, "wedge_deg": 0.5, "angle_deg": 1.0}
)
"""The largest difference that needs no reason, by kind of measure (common practice)."""

KIND_OF: Mapping[str, str] = MappingProxyType(
    {
        "toe_trim_mm": "height_mm",
        "heel_trim_mm": "height_mm",
        "heel_trim_medial_mm": "height_mm",
        "heel_trim_lateral_mm": "height_mm",
        "toe_dress_mm": "length_mm",
        "sole_pare_mm": "height_mm",
        "wedge_deg": "wedge_deg",
        "wedge_mm": "height_mm",
        "pad_mm": "height_mm",
        "bevel_setback_mm": "breakover_mm",
        "shoe.thickness_mm": "height_mm",
        "shoe.web_mm": "length_mm",
        "shoe.width_mm": "length_mm",
        "shoe.length_mm": "length_mm",
        "shoe.breakover_setback_mm": "breakover_mm",
        "shoe.heel_extension_mm": "length_mm",
        "shoe.medial_extension_mm": "length_mm",
        "shoe.lateral_extension_mm": "length_mm",
        "shoe.sole_clearance_mm": "height_mm",
        "shoe.frog_plate_height_mm": "height_mm",
        "nails.spacing_mm": "length_mm",
        "nails.last_behind_widest_mm": "length_mm",
    }
)
"""The numbers of a plan that are compared, by dotted key, and whose tolerance is theirs."""

EXACT: tuple[str, ...] = (
    "shoe.category",
    "shoe.material",
    "shoe.frog_plate",
    "attachment",
    "packing",
    "surface",
    "nails.count",
    "nails.holes",
    "clips",
    "interval_weeks",
)
"""What has no tolerance: any difference needs a reason."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One field that differs: as planned, as fitted, and whether beyond its tolerance.

    ``change`` is fitted minus planned where both are numbers with a tolerance;
    ``recorded`` is false if what was planned is not recorded as fitted at all, or not as a number.
    """

    field: str
    planned: str
    fitted: str
    beyond: bool
    change: float | None = None
    tolerance: float | None = None
    recorded: bool = True


def differences(
    planned: Plan, fitted: Plan, tolerances: Mapping[str, float] = AGREED
) -> tuple[Difference, ...]:
    """Return every field in which what was fitted differs from the plan, in a stable order.

    Parameters
    ----------
    planned, fitted : Plan
        The plan and the record of what was done, in the units of their names.
    tolerances : mapping
        By kind, see ``AGREED``; compared with a slack of 1e-9 for the arithmetic.

    Returns
    -------
    tuple of Difference
        A field on one side only differs beyond any tolerance. Without a shoe the
        category is ``barefoot`` and the other fields of the shoe are left out.

    Examples
    --------
    >>> differences(Plan(heel_trim_mm=5.0), Plan(heel_trim_mm=7.5))[0].beyond
    True
    >>> differences(Plan(heel_trim_mm=5.0), Plan(heel_trim_mm=7.0))[0].beyond
    False
    """
    return tuple(_found(planned, fitted, tolerances))


def _found(planned: Plan, fitted: Plan, tolerances: Mapping[str, float]) -> Iterator[Difference]:
    shod = planned.shoe is not None and fitted.shoe is not None
    for field in (*KIND_OF, *EXACT):
        if field.startswith("shoe.") and field != "shoe.category" and not shod:
            continue
        before, after = _value(planned, field), _value(fitted, field)
        if before != after:
            kind = KIND_OF.get(field)
            yield _difference(field, before, after, tolerances[kind] if kind else None)


def _value(plan: Plan, field: str) -> float | str | None:
    value: object = plan
    for name in field.split("."):
        value = getattr(value, name, None)
    if field == "shoe.category" and value is None:
        return "barefoot"
    if isinstance(value, tuple):  # nail holes, or clips by where they sit
        return ", ".join(str(getattr(each, "position", each)) for each in value) or None
    return value if isinstance(value, int | float | str) else None


def _difference(
    field: str, before: float | str | None, after: float | str | None, tolerance: float | None
) -> Difference:
    recorded = before is None or after is not None
    if tolerance is None or isinstance(before, str | None) or isinstance(after, str | None):
        return Difference(field, _said(before), _said(after), beyond=True, recorded=recorded)
    change = after - before
    if not math.isfinite(change):
        return Difference(field, _said(before), _said(after), beyond=True, recorded=False)
    beyond = abs(change) > tolerance + TOLERANCE
    return Difference(field, _said(before), _said(after), beyond, change, tolerance)


def _said(value: float | str | None) -> str:
    if value is None:
        return "none"
    return f"{value:g}" if isinstance(value, int | float) else value
