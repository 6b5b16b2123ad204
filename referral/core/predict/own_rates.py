"""What one horse's own resets say of how its foot changes from week to week."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from referral.core.measure.readings import LENGTH_STATES_JUDGED, Convention, Reading
from referral.core.predict.growth import OwnRates, Rate

SLOWEST_MM, FASTEST_MM = 0.5, 5.0
"""Growth a week that is believed; beyond it a landmark or a scale is wrong (common practice)."""

SHORTEST_WEEKS = 2.0
"""A cycle shorter than this says nothing above its own uncertainty (common practice)."""

NEARLY_NOUGHT_DEG = 1e-6


@dataclass(frozen=True, slots=True)
class Cycle:
    """One foot from a fitting to the next visit, before anything was trimmed.

    ``fitted`` are the readings as it left, with its device; ``returned`` as it came back.
    ``wedge_deg`` is the device's wedge, and ``returned_shod`` says whether it was still on
    when the foot was measured again. ``weeks`` lie between the two.
    """

    weeks: float
    fitted: Mapping[str, Reading]
    returned: Mapping[str, Reading]
    wedge_deg: float
    returned_shod: bool


def own_rates(cycles: Sequence[Cycle]) -> OwnRates:
    """Return the rates that a foot's own cycles give.

    Parameters
    ----------
    cycles : sequence of Cycle
        Cycles of one limb, oldest first; those shorter than two weeks are left out.

    Returns
    -------
    OwnRates
        Growth along the dorsal wall in mm a week, from how far the toe went forward before
        the coffin bone's tip; drift of the palmar angle in degrees a week. Each is the mean of
        the cycles weighted by 1/u squared, of those taken by the same definition as the last;
        its u is the larger of what the readings' own u give and what the cycles' scatter gives.
        ``None`` where no cycle has both ends by one definition, where a length's scale is not
        judged, or where the growth is none that a hoof has.

    Notes
    -----
    Growth carries the toe forward by g w cos(wall angle). A foot measured with its device off
    has lost the device's wedge, which is put back. Readings of different definitions are never
    joined; where one was not kept, both ends must be without it, and the source says so.
    Source: geometry; JCGM 100:2008, 4.2 and 5.1.

    Examples
    --------
    >>> code = "palmar_angle_deg"
    >>> fitted = {code: Reading(code, 5.0, 0.3, "deg", "none", "predicted")}
    >>> returned = {code: Reading(code, 2.6, 0.3, "deg", "none", "film")}
    >>> rates = own_rates([Cycle(6.0, fitted, returned, 0.0, True)])
    >>> round(rates.palmar_angle_drift_deg.per_week, 2), rates.wall_growth_mm is None
    (-0.4, True)
    """
    long_enough = [each for each in cycles if each.weeks >= SHORTEST_WEEKS]
    drifts = [found for each in long_enough if (found := _drift(each)) is not None]
    growths = [found for each in long_enough if (found := _growth(each)) is not None]
    growth = _mean(growths)
    believed = growth is not None and SLOWEST_MM <= growth.per_week <= FASTEST_MM
    return OwnRates(growth if believed else None, _mean(drifts))


@dataclass(frozen=True, slots=True)
class _Found:
    """What one cycle says a week, its u, and the definition of the readings at both ends."""

    per_week: float
    u: float
    convention: Convention | None


def _drift(cycle: Cycle) -> _Found | None:
    ends = _both(cycle, "palmar_angle_deg")
    if ends is None:
        return None
    fitted, returned = ends
    put_back = 0.0 if cycle.returned_shod else cycle.wedge_deg
    change = returned.value + put_back - fitted.value
    u = math.hypot(fitted.u, returned.u) / cycle.weeks
    return _Found(change / cycle.weeks, u, fitted.convention)


def _growth(cycle: Cycle) -> _Found | None:
    ends, wall = _both(cycle, "toe_distance_mm"), cycle.fitted.get("dorsal_wall_angle_deg")
    if ends is None or wall is None:
        return None
    fitted, returned = ends
    if not {fitted.scale_state, returned.scale_state} <= LENGTH_STATES_JUDGED:
        return None
    along = cycle.weeks * math.cos(math.radians(wall.value))
    if along <= 0.0:
        return None
    u = math.hypot(fitted.u, returned.u) / along
    return _Found((returned.value - fitted.value) / along, u, fitted.convention)


def _both(cycle: Cycle, code: str) -> tuple[Reading, Reading] | None:
    fitted, returned = cycle.fitted.get(code), cycle.returned.get(code)
    if fitted is None or returned is None or fitted.convention != returned.convention:
        return None
    return fitted, returned


def _mean(of_all: Sequence[_Found]) -> Rate | None:
    """Return the weighted mean a week of the last series, or None if there is none to speak of."""
    if not of_all:
        return None
    convention = of_all[-1].convention
    found = [each for each in of_all if each.convention == convention]
    weights = [1.0 / max(each.u, NEARLY_NOUGHT_DEG) ** 2 for each in found]
    total = sum(weights)
    mean = sum(weight * each.per_week for weight, each in zip(weights, found, strict=True)) / total
    if abs(mean) < NEARLY_NOUGHT_DEG:
        return None
    scatter = 0.0
    if len(found) > 1:
        squares = sum(
            weight * (each.per_week - mean) ** 2
            for weight, each in zip(weights, found, strict=True)
        )
        scatter = math.sqrt(squares / total / (len(found) - 1))
    u = max(1.0 / math.sqrt(total), scatter)
    source = f"{len(found)} shoeing cycle{'s' if len(found) > 1 else ''} of this foot"
    if convention is None:
        source += ", by a definition that was not kept"
    return Rate(mean, u / abs(mean), "own resets", source)
