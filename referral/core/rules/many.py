"""Judge arrays of plans at once, by the same claims and comparisons as one plan.

The window asks which of many plans meet every limit; a change of the rulebook asks it of
every plan that was ever made.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from referral.core.geometry.points import Floats
from referral.core.rules.finding import VERDICTS
from referral.core.rules.guard import Bound, guard_band, margin_of, p_beyond, verdict_at_limit
from referral.core.rules.rule import severity_rank

Codes = NDArray[np.int8]
Bools = NDArray[np.bool_]

WITHIN, OUTSIDE, TOO_CLOSE, CANNOT_TELL = (
    VERDICTS.index(verdict) for verdict in ("WITHIN", "OUTSIDE", "TOO_CLOSE", "CANNOT_TELL")
)


@dataclass(frozen=True, slots=True)
class ManyQuantities:
    """One measure of many plans, in its unit: values (...), u of one or each, where it is known.

    ``applies`` is false for plans that need not have it, ``None`` if all of them do.
    """

    values: Floats
    u: Floats | float
    known: Bools
    applies: Bools | None = None


@dataclass(frozen=True, slots=True)
class ManyAnswers:
    """The answer of one claim on many plans, arrays of one shape (...).

    ``verdicts`` are places in `VERDICTS`, ``margins`` how far inside the deciding bound the
    value lies (negative outside, NaN where it is not known), ``severities`` the rank of that
    bound's severity, ``deciding`` its place among the claim's bounds.
    """

    verdicts: Codes
    margins: Floats
    severities: Codes
    deciding: Codes


def decide_many(quantities: ManyQuantities, bound: Bound) -> Codes:
    """Return each plan's verdict on one bound, as its place in `VERDICTS`.

    Parameters
    ----------
    quantities : ManyQuantities
        Values (...) in the bound's unit; u >= 0.
    bound : Bound
        The bound, compared with the values as they are, never rounded.

    Returns
    -------
    ndarray of int8, shape (...)
        What `decide` says of each value; CANNOT_TELL where it is not known.

    Notes
    -----
    Source: JCGM 106:2012, clause 8.3.

    Examples
    --------
    >>> sole = Bound("low", 15.0, "caution")
    >>> values = ManyQuantities(np.array([12.0, 16.0, 17.0]), 0.7, np.array([True, True, True]))
    >>> [VERDICTS[code] for code in decide_many(values, sole)]
    ['OUTSIDE', 'TOO_CLOSE', 'WITHIN']
    """
    margins = margin_of(quantities.values, bound)
    apart = np.where(margins > 0, WITHIN, OUTSIDE)
    u: Floats = np.asarray(quantities.u, np.float64)
    exactly = VERDICTS.index(verdict_at_limit(0.0, bound))
    at_limit = np.where(u > 0.0, TOO_CLOSE, exactly)
    near = np.abs(margins) <= guard_band(u)
    told = np.where(quantities.known, np.where(near, at_limit, apart), CANNOT_TELL)
    return told.astype(np.int8)


def judge_many(quantities: ManyQuantities, bounds: tuple[Bound, ...]) -> ManyAnswers:
    """Return each plan's answer to a set of tiers: the worst broken one, or the nearest.

    Parameters
    ----------
    quantities : ManyQuantities
        Values (...) in the bounds' unit.
    bounds : tuple of Bound
        The bounds that a claim keeps; at least one.

    Returns
    -------
    ManyAnswers
        For each value the first of the answers that `answers` gives for it alone; its second,
        a more severe tier too close to call behind a broken one, is left out.

    Examples
    --------
    >>> tiers = (Bound("low", 15.0, "caution"), Bound("low", 10.0, "breach"))
    >>> values = ManyQuantities(np.array([9.0, 12.0, 16.0]), 0.0, np.ones(3, bool))
    >>> found = judge_many(values, tiers)
    >>> found.verdicts.tolist(), found.margins.tolist(), found.severities.tolist()
    ([1, 1, 0], [-1.0, -3.0, 1.0], [2, 1, 1])
    """
    if len(bounds) == 1:
        return _of_one(quantities, bounds[0])
    codes = np.stack([decide_many(quantities, bound) for bound in bounds])
    margins = np.stack([margin_of(quantities.values, bound) for bound in bounds])
    ranks = np.array([severity_rank(bound.severity) for bound in bounds], np.int8)
    ranks = np.broadcast_to(ranks.reshape(-1, *[1] * quantities.values.ndim), codes.shape)
    broken, close = codes == OUTSIDE, codes == TOO_CLOSE
    # as for one plan: the broken tier that is most severe and least broken, else the close one
    # that is most severe and nearest, else the nearest, the more severe first
    broken_first = _best(broken, (margins, ranks))
    close_first = _best(close, (-np.abs(margins), ranks))
    inside_first = _best(np.ones(codes.shape, bool), (ranks, -margins))
    chosen = np.where(close.any(axis=0), close_first, inside_first)
    chosen = np.where(broken.any(axis=0), broken_first, chosen)[None]
    margin = np.take_along_axis(margins, chosen, axis=0)[0]
    return ManyAnswers(
        np.take_along_axis(codes, chosen, axis=0)[0],
        np.where(quantities.known, margin, np.nan),
        np.take_along_axis(ranks, chosen, axis=0)[0],
        chosen[0].astype(np.int8),
    )


def p_outside_many(
    quantities: ManyQuantities, bounds: tuple[Bound, ...], deciding: Codes
) -> Floats:
    """Return the probability, 0 to 1, that each true value lies outside, NaN where not known.

    Parameters
    ----------
    quantities : ManyQuantities
        Values (...) in the bounds' unit.
    bounds : tuple of Bound
        The bounds that a claim keeps.
    deciding : ndarray of int8, shape (...)
        Which of them decides, as `judge_many` says.

    Notes
    -----
    A bound of the same severity on the other side adds its tail. Source: JCGM 106:2012,
    clause 7.3.

    Examples
    --------
    >>> sole = (Bound("low", 15.0, "caution"),)
    >>> values = ManyQuantities(np.array([16.0]), 0.7, np.array([True]))
    >>> p_outside_many(values, sole, np.zeros(1, np.int8)).round(3).tolist()
    [0.077]
    """
    u = np.broadcast_to(quantities.u, quantities.values.shape)
    beyond = np.stack([_p_beyond(quantities.values, u, bound) for bound in bounds])
    total = np.stack(
        [
            beyond[place]
            + np.max(
                [
                    np.zeros(u.shape),
                    *(
                        beyond[at]
                        for at, other in enumerate(bounds)
                        if other.side != bound.side and other.severity == bound.severity
                    ),
                ],
                axis=0,
            )
            for place, bound in enumerate(bounds)
        ]
    )
    found = np.take_along_axis(total, deciding[None].astype(np.intp), axis=0)[0]
    return np.where(quantities.known, np.minimum(found, 1.0), np.nan)


def _p_beyond(values: Floats, u: Floats, bound: Bound) -> Floats:
    found = [
        p_beyond(value, spread, bound)
        for value, spread in zip(values.ravel().tolist(), u.ravel().tolist(), strict=True)
    ]
    return np.array(found, float).reshape(values.shape)


def _of_one(quantities: ManyQuantities, bound: Bound) -> ManyAnswers:
    """Return the answers to one bound alone, which decides everywhere."""
    shape = quantities.values.shape
    return ManyAnswers(
        decide_many(quantities, bound),
        np.where(quantities.known, margin_of(quantities.values, bound), np.nan),
        np.full(shape, severity_rank(bound.severity), np.int8),
        np.zeros(shape, np.int8),
    )


def _best(among: Bools, keys: tuple[Floats | Codes, ...]) -> NDArray[np.intp]:
    """Return the first row among some that has the greatest last key, then the one before it."""
    left = among
    for key in reversed(keys):
        wanted = np.where(left, key, -np.inf)
        left = left & (wanted == wanted.max(axis=0))
    first: NDArray[np.intp] = left.argmax(axis=0)
    return first
