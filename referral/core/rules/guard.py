"""A value with its uncertainty against one bound: within, outside, or too close to call."""

import math
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", float, NDArray[np.float64])

TOLERANCE = 1e-9
"""How far two floats may lie apart and still be the same number (3 x 1.1 is 3.3)."""

COVERAGE = 2.0
"""Guard band U = 2u, as the common choice in JCGM 106:2012, 8.3.2."""


@dataclass(frozen=True, slots=True)
class Bound:
    """One side of a limit. ``side`` is ``low`` (at least) or ``high`` (at most).

    ``strict`` means the limit itself is already outside (more than, less than).
    """

    side: str
    limit: float
    severity: str
    strict: bool = False
    unit: str | None = None
    since: date | None = None
    evidence: str | None = None
    source: str | None = None
    says: str | None = None


def normal_cdf(z: float) -> float:
    """Return the probability that a standard normal variable is below ``z``.

    Examples
    --------
    >>> round(normal_cdf(1.96), 4)
    0.975
    """
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def margin_of(value: Number, bound: Bound) -> Number:
    """Return how far inside the bound the value lies, in its unit; negative outside.

    Takes one value or an array of them.

    Examples
    --------
    >>> margin_of(12.0, Bound("low", 15.0, "caution"))
    -3.0
    """
    return value - bound.limit if bound.side == "low" else bound.limit - value


def decide(value: float, u: float, bound: Bound) -> str:
    """Return ``WITHIN``, ``OUTSIDE`` or ``TOO_CLOSE`` for one bound.

    Parameters
    ----------
    value, u : float
        The value and its standard uncertainty (k = 1), in the bound's unit; u >= 0.
    bound : Bound
        The bound, compared with the value as it is, never rounded.

    Returns
    -------
    str
        With u = 0 a value at the limit is within, unless the bound is strict.

    Notes
    -----
    Source: JCGM 106:2012, clause 8.3 (guarded acceptance with w = U = 2u, on both
    sides of the limit: what is between is neither accepted nor rejected).

    Examples
    --------
    >>> sole = Bound("low", 15.0, "caution")
    >>> decide(15.0, 0.0, sole), decide(16.0, 0.7, sole), decide(16.5, 0.7, sole)
    ('WITHIN', 'TOO_CLOSE', 'WITHIN')
    """
    margin = margin_of(value, bound)
    if abs(margin) <= guard_band(u):
        return verdict_at_limit(u, bound)
    return "WITHIN" if margin > 0 else "OUTSIDE"


def guard_band(u: Number) -> Number:
    """Return how near a limit a value is neither accepted nor rejected: U, and rounding.

    Takes one u or an array of them.

    Examples
    --------
    >>> guard_band(0.7) - TOLERANCE
    1.4
    """
    return COVERAGE * u + TOLERANCE


def verdict_at_limit(u: float, bound: Bound) -> str:
    """Return the verdict of a value inside the guard band.

    Examples
    --------
    >>> verdict_at_limit(0.0, Bound("low", 0.0, "breach", strict=True))
    'OUTSIDE'
    """
    if u > 0:
        return "TOO_CLOSE"
    return "OUTSIDE" if bound.strict else "WITHIN"


def p_beyond(value: float, u: float, bound: Bound) -> float:
    """Return the probability, 0 to 1, that the true value lies beyond the bound.

    Notes
    -----
    Source: JCGM 106:2012, clause 7.3 (one-sided tolerance intervals, normal
    distribution); the value here is one minus the conformance probability.

    Examples
    --------
    >>> round(p_beyond(16.0, 0.7, Bound("low", 15.0, "caution")), 3)
    0.077
    """
    if u > 0:
        return normal_cdf(-margin_of(value, bound) / u)
    return 1.0 if decide(value, u, bound) == "OUTSIDE" else 0.0
