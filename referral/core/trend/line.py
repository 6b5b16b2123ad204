"""A weighted straight line through readings over time, with its uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from referral.core.errors import CoreError
from referral.core.trend.series import TWO_SIDED_95, Point

DAYS_A_WEEK = 7.0
FEWEST = 3
FINEST_U = 1e-9


@dataclass(frozen=True, slots=True)
class Line:
    """A line through readings: value at ``middle`` and change a week, each with standard u.

    ``middle`` is the weighted mean day, in weeks after ``start``; there value and slope are
    independent of each other.
    """

    start: date
    middle_weeks: float
    value: float
    value_u: float
    per_week: float
    per_week_u: float

    @property
    def is_real(self) -> bool:
        """Whether the slope is more than error."""
        return abs(self.per_week) > TWO_SIDED_95 * self.per_week_u

    def at(self, on: date) -> tuple[float, float]:
        """Return the line's value on a day and its standard uncertainty."""
        weeks = (on - self.start).days / DAYS_A_WEEK - self.middle_weeks
        value = self.value + self.per_week * weeks
        return value, math.hypot(self.value_u, self.per_week_u * weeks)


def line_through(points: Sequence[Point]) -> Line | None:
    """Return the weighted least-squares line through readings.

    Parameters
    ----------
    points : sequence of Point
        At least three, on at least two days; weights are 1/u squared.

    Returns
    -------
    Line or None
        ``None`` with fewer points, or where they lie on one day. Both uncertainties are
        widened by the root of chi squared over its degrees of freedom where that is above one:
        readings that scatter more than their u says are believed less.

    Raises
    ------
    CoreError
        If a value is NaN or infinite.

    Notes
    -----
    Source: weighted linear regression as in JCGM 100:2008, H.3, with weights.

    Examples
    --------
    >>> days = [date(2026, 1, 1), date(2026, 1, 15), date(2026, 1, 29)]
    >>> line = line_through([Point(on, v, 0.5) for on, v in zip(days, (5.0, 4.0, 3.0))])
    >>> round(line.per_week, 2)
    -0.5
    """
    if len(points) < FEWEST or len({each.on for each in points}) == 1:
        return None
    start = min(each.on for each in points)
    weeks = np.array([(each.on - start).days / DAYS_A_WEEK for each in points])
    values = np.array([each.value for each in points])
    us = np.array([max(each.u, FINEST_U) for each in points])
    if not (np.isfinite(values).all() and np.isfinite(us).all()):
        raise CoreError("A reading that is no number has no line.", at="value")
    weights = us**-2
    middle = float((weights * weeks).sum() / weights.sum())
    apart = weeks - middle
    spread = float((weights * apart**2).sum())
    value = float((weights * values).sum() / weights.sum())
    slope = float((weights * apart * values).sum() / spread)
    left = values - value - slope * apart
    widen = max(1.0, math.sqrt(float((weights * left**2).sum()) / (len(points) - 2)))
    return Line(
        start,
        middle,
        value,
        widen / math.sqrt(float(weights.sum())),
        slope,
        widen / math.sqrt(spread),
    )
