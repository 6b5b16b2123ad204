"""Bands: severities side by side on one axis, which must tile it without gap or overlap."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from referral.core.rules.guard import TOLERANCE

WITHIN_BAND = "within"


@dataclass(frozen=True, slots=True)
class Band:
    """One stretch of values. ``None`` is open to that side; an edge belongs to it or not."""

    severity: str
    low: float | None = None
    high: float | None = None
    low_included: bool = True
    high_included: bool = False


def tiling_faults(bands: Sequence[Band]) -> list[str]:
    """Return what keeps the bands from tiling the axis, in their order; empty if they do.

    Examples
    --------
    >>> good = Band("within", None, 10.0), Band("caution", 10.0, None)
    >>> gap = Band("within", None, 10.0, high_included=True), Band("caution", 11.0, None)
    >>> tiling_faults(good), tiling_faults(gap)
    ([], ['there is a gap between 10 and 11'])
    """
    faults = []
    if bands[0].low is not None or bands[-1].high is not None:
        faults.append("the first band must be open below and the last one open above")
    for lower, upper in pairwise(bands):
        faults.extend(_joint_faults(lower, upper))
    if [band.severity for band in bands].count(WITHIN_BAND) != 1:
        faults.append("exactly one band must be within")
    return faults


def edges(bands: Sequence[Band]) -> list[tuple[str, float, str]]:
    """Return the bands as bounds: key of the bound, its value, severity beyond it.

    Parameters
    ----------
    bands : sequence of Band
        Bands that tile the axis (``tiling_faults`` is empty).

    Examples
    --------
    >>> edges([Band("within", None, 20.0, high_included=True), Band("caution", 20.0, None, False)])
    [('at_most', 20.0, 'caution')]
    """
    middle = [band.severity for band in bands].index(WITHIN_BAND)
    found = []
    for index, (lower, upper) in enumerate(pairwise(bands)):
        edge = lower.high if lower.high is not None else 0.0
        if index >= middle:
            found.append(("at_most" if lower.high_included else "less_than", edge, upper.severity))
        else:
            found.append(("at_least" if upper.low_included else "more_than", edge, lower.severity))
    return found


def _joint_faults(lower: Band, upper: Band) -> list[str]:
    if lower.high is None or upper.low is None:
        return ["only the first band may be open below and only the last one above"]
    if upper.low - lower.high > TOLERANCE:
        return [f"there is a gap between {lower.high:g} and {upper.low:g}"]
    if lower.high - upper.low > TOLERANCE:
        return [f"two bands overlap between {upper.low:g} and {lower.high:g}"]
    if lower.high_included and upper.low_included:
        return [f"{upper.low:g} belongs to two bands"]
    if not lower.high_included and not upper.low_included:
        return [f"{upper.low:g} belongs to no band"]
    return []
