"""The plans a window tries: heel trim by toe trim by the wedges in stock."""

import math
from dataclasses import dataclass

import numpy as np

from referral.core.errors import CoreError, ImpossiblePlan, NotFinite
from referral.core.geometry.points import Floats
from referral.core.predict.many import Variants
from referral.core.predict.possible import STEEPEST_WEDGE_DEG

MOST_POINTS = 20_000
MOST_WEDGES = 12
ROUNDING_STEPS = 1e-9
"""A step that ends this near the far end of a range is that end."""

AGAINST = ("all", "limits")


@dataclass(frozen=True, slots=True)
class Ask:
    """What a window is asked over: ranges and step in mm, wedges in degrees, what is tested.

    ``against`` is ``all`` (the case's limits, and rules of severity breach or worse) or
    ``limits`` (the case's alone); ``include_should`` tests its ``should`` limits too.
    """

    heel_trim_mm: tuple[float, float] = (0.0, 10.0)
    toe_trim_mm: tuple[float, float] = (0.0, 10.0)
    step_mm: float = 0.25
    wedge_deg: tuple[float, ...] = (0.0, 1.0, 2.0, 3.0, 4.0, 5.0)
    against: str = "all"
    include_should: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """The axes of a window, mm and degrees; arrays over it have shape (wedge, heel, toe)."""

    wedge_deg: Floats
    heel_trim_mm: Floats
    toe_trim_mm: Floats
    step_mm: float

    def variants(self) -> Variants:
        """Return every combination, each array of shape (wedge, heel, toe)."""
        wedge, heel, toe = np.meshgrid(
            self.wedge_deg, self.heel_trim_mm, self.toe_trim_mm, indexing="ij"
        )
        return Variants(toe, heel, wedge)


def grid_of(ask: Ask) -> Grid:
    """Return the grid of a question, both ends of each range included.

    Returns
    -------
    Grid
        Trims in mm, wedges in degrees in the order asked. Where a range is not a whole number
        of steps the last step is shorter.

    Raises
    ------
    NotFinite
        If a number is NaN or infinite.
    ImpossiblePlan
        If a trim is below 0 or a wedge is 45 degrees or more.
    CoreError
        If a range runs backwards, the step is not above 0, there are more than 20 000 points
        a wedge or more than 12 wedges or none, or ``against`` is neither word.

    Examples
    --------
    >>> grid_of(Ask(heel_trim_mm=(0.0, 1.0), step_mm=0.4)).heel_trim_mm.tolist()
    [0.0, 0.4, 0.8, 1.0]
    """
    if ask.against not in AGAINST:
        raise CoreError(f"against is one of {', '.join(AGAINST)}.", at="window.against")
    if not math.isfinite(ask.step_mm):
        raise NotFinite("step_mm is not a number.", at="window.step_mm")
    if ask.step_mm <= 0:
        raise CoreError("step_mm must be more than 0.", at="window.step_mm")
    counts = [
        _steps(ask.heel_trim_mm, ask.step_mm, "heel_trim_mm"),
        _steps(ask.toe_trim_mm, ask.step_mm, "toe_trim_mm"),
    ]
    if math.prod(counts) > MOST_POINTS:
        raise CoreError(
            f"The window has {math.prod(counts)} points a wedge and may have {MOST_POINTS}: "
            "narrow a range, or take a longer step.",
            at="window.step_mm",
        )
    return Grid(
        _wedges(ask.wedge_deg),
        _axis(ask.heel_trim_mm, ask.step_mm, counts[0]),
        _axis(ask.toe_trim_mm, ask.step_mm, counts[1]),
        ask.step_mm,
    )


def cell_edges_mm(axis_mm: Floats, step_mm: float) -> Floats:
    """Return where the cell of each grid point ends: half way to its neighbours, shape (n + 1,).

    The outermost cells reach half a step beyond the range, so that every whole step counts
    as much as any other.

    Examples
    --------
    >>> cell_edges_mm(np.array([0.0, 0.5, 1.0]), 0.5).tolist()
    [-0.25, 0.25, 0.75, 1.25]
    """
    middles: Floats = (axis_mm[:-1] + axis_mm[1:]) / 2.0
    first, last = axis_mm[:1] - step_mm / 2.0, axis_mm[-1:] + step_mm / 2.0
    edges: Floats = np.concatenate([first, middles, last])
    return edges


def _steps(ends: tuple[float, float], step_mm: float, name: str) -> int:
    """Return how many points a range has."""
    at = f"window.{name}"
    low, high = ends
    if not (math.isfinite(low) and math.isfinite(high)):
        raise NotFinite(f"{name} is not two numbers.", at=at)
    if low < 0:
        raise ImpossiblePlan(f"{name} begins at {low:g}: a trim cannot be less than 0.", at=at)
    if high < low:
        raise CoreError(f"{name} runs from {low:g} to {high:g}: put the lower end first.", at=at)
    # a range of more steps than a float can count has too many points, however they are counted
    return math.ceil(min((high - low) / step_mm - ROUNDING_STEPS, 1e15)) + 1


def _axis(ends: tuple[float, float], step_mm: float, count: int) -> Floats:
    low, high = ends
    axis: Floats = low + step_mm * np.arange(count, dtype=np.float64)
    axis[-1] = high
    return axis


def _wedges(wedges_deg: tuple[float, ...]) -> Floats:
    at = "window.wedge_deg"
    if not 1 <= len(wedges_deg) <= MOST_WEDGES:
        raise CoreError(f"Give from 1 to {MOST_WEDGES} wedges, not {len(wedges_deg)}.", at=at)
    for index, wedge in enumerate(wedges_deg):
        if not math.isfinite(wedge):
            raise NotFinite("A wedge is a number of degrees.", at=f"{at}.{index}")
        if abs(wedge) >= STEEPEST_WEDGE_DEG:
            raise ImpossiblePlan("A wedge is less than 45 degrees.", at=f"{at}.{index}")
    return np.asarray(wedges_deg, dtype=np.float64)
