"""A window as JSON: numbers in mm and degrees, limits by the names that pages give them."""

from collections.abc import Callable, Mapping
from typing import Any

from referral.core.rules.outline import Ring
from referral.core.rules.region import Binding, Region
from referral.plans.windows import LimbWindow

DECIMALS = 3
"""A grid's cells end at eighths of a millimetre, which this holds exactly."""

Names = Callable[[str], str]


def window_answer(shown: LimbWindow, *, drawn: str | None) -> Mapping[str, Any]:
    """Return one limb's window; ``drawn`` stands in place of the regions where it was asked for."""
    window = shown.window
    regions = {"drawn": drawn} if drawn is not None else {"wedges": _wedges(shown)}
    return {
        "limb": shown.limb,
        "says": shown.sentence,
        "feasible": window.feasible,
        "plan_inside": window.plan_inside,
        "tested": list(shown.tested),
        **regions,
        "nearest": _nearest(shown),
        "conflict": list(shown.conflict),
        "other_conflicts": shown.other_conflicts,
        "unchecked": list(shown.unchecked),
    }


def _wedges(shown: LimbWindow) -> list[Mapping[str, Any]]:
    names = dict(zip(shown.window.tested, shown.tested, strict=True))
    return [_wedge(region, names.__getitem__) for region in shown.window.regions]


def _wedge(region: Region, name: Names) -> Mapping[str, Any]:
    return {
        "wedge_deg": region.wedge_deg,
        "wedge_mm": None if region.wedge_mm is None else round(region.wedge_mm, DECIMALS),
        "plans": region.count,
        "area_mm2": region.area_mm2,
        "heel_trim_mm": region.heel_trim_mm,
        "toe_trim_mm": region.toe_trim_mm,
        "outline_mm": [_ring(each) for each in region.outline_mm],
        "close_outline_mm": [_ring(each) for each in region.close_outline_mm],
        "binding": [_binding(each, name) for each in region.binding],
    }


def _ring(ring: Ring) -> list[list[float]]:
    return [[round(heel, DECIMALS), round(toe, DECIMALS)] for heel, toe in ring]


def _binding(binding: Binding, name: Names) -> Mapping[str, Any]:
    return {
        "axis": binding.axis,
        "end": binding.end,
        "limits": [name(rule) for rule in binding.limits],
        "horn": binding.horn,
        "range_end": binding.range_end,
        "at_mm": binding.at_mm,
    }


def _nearest(shown: LimbWindow) -> Mapping[str, Any] | None:
    if shown.nearest is None or shown.settled is None:
        return None
    plan = shown.settled.plan
    return {
        "says": list(shown.nearest.says),
        "toe_trim_mm": plan.toe_trim_mm,
        "heel_trim_mm": plan.heel_trim_mm,
        "wedge_deg": plan.wedge_deg,
        "wedge_mm": None if plan.wedge_mm is None else round(plan.wedge_mm, DECIMALS),
        "distance": round(shown.settled.distance, DECIMALS),
        "fields": dict(shown.nearest.fields),
    }
