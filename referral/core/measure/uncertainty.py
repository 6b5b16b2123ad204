"""How sure a computed value is, from how sure its inputs are."""

from collections.abc import Callable, Mapping

import numpy as np

from referral.core.geometry.points import Floats

Model = Callable[[Floats], Mapping[str, Floats]]
"""Inputs (..., n) -> code -> values (...)."""

STEP = 1e-3
"""Half step of the central difference, as a share of the input's standard uncertainty."""


def first_order(f: Model, x0: Floats, u: Floats) -> dict[str, tuple[float, float]]:
    """Return each output's value and standard uncertainty, by a linear model round ``x0``.

    Parameters
    ----------
    f : callable
        Takes inputs (..., n) and returns code -> values (...). Called once.
    x0, u : ndarray, shape (n,)
        Inputs and their standard uncertainties (k = 1), independent of each other. An input
        with u = 0 is exact.

    Returns
    -------
    dict of str to (float, float)
        Code -> (value, u), in the output's own unit. Outputs that end in ``_deg`` are
        directions: their differences are wrapped, so a value near 180 has no false jump.

    Notes
    -----
    Source: JCGM 100:2008, 5.1.2 (law of propagation) and 5.1.3 note 2 (the sensitivities by
    finite differences), here central and in one batched call.

    Examples
    --------
    >>> area = lambda x: {"area_mm2": x[..., 0] * x[..., 1]}
    >>> value, u = first_order(area, np.array([3.0, 4.0]), np.array([0.1, 0.2]))["area_mm2"]
    >>> value, round(u, 6)
    (12.0, 0.72111)
    """
    moving = np.flatnonzero(u > 0.0)
    count = len(moving)
    inputs = np.broadcast_to(x0, (2 * count + 1, len(x0))).copy()
    rows = np.arange(count)
    steps = STEP * u[moving]
    inputs[1 + rows, moving] += steps
    inputs[1 + count + rows, moving] -= steps
    codes, values = _table(f(inputs), 2 * count + 1)
    change = _differences(codes, values[:, 1 : 1 + count], values[:, 1 + count :])
    spreads = np.sqrt((change**2).sum(axis=-1)) / (2.0 * STEP)
    return dict(zip(codes, zip(values[:, 0].tolist(), spreads.tolist(), strict=True), strict=True))


def monte_carlo(
    f: Model, x0: Floats, u: Floats, draws: int, rng: np.random.Generator
) -> dict[str, tuple[float, float]]:
    """Return each output's value at ``x0`` and the standard deviation over random inputs.

    Parameters
    ----------
    f, x0, u
        As for `first_order`; inputs are drawn from independent normal distributions.
    draws : int
        How many; 10 000 gives the standard deviation to about 1 %.
    rng : numpy.random.Generator
        A seeded generator, so that the same film always gives the same answer.

    Returns
    -------
    dict of str to (float, float)
        Code -> (value, u), in the output's own unit.

    Notes
    -----
    Source: JCGM 101:2008, section 7 (propagation of distributions).

    Examples
    --------
    >>> twice = lambda x: {"length_mm": 2.0 * x[..., 0]}
    >>> rng = np.random.default_rng(1)
    >>> value, u = monte_carlo(twice, np.array([5.0]), np.array([0.5]), 10_000, rng)["length_mm"]
    >>> value, round(u, 1)
    (10.0, 1.0)
    """
    inputs = np.concatenate([x0[None, :], rng.normal(x0, u, (draws, len(x0)))])
    codes, values = _table(f(inputs), draws + 1)
    spreads = _differences(codes, values[:, 1:], values[:, :1]).std(axis=-1, ddof=1)
    return dict(zip(codes, zip(values[:, 0].tolist(), spreads.tolist(), strict=True), strict=True))


def _table(outputs: Mapping[str, Floats], count: int) -> tuple[list[str], Floats]:
    """Return the codes, and their values in rows of ``count``."""
    values = np.empty((len(outputs), count))
    for row, each in zip(values, outputs.values(), strict=True):
        row[:] = each
    return list(outputs), values


def _differences(codes: list[str], first: Floats, second: Floats) -> Floats:
    change: Floats = first - second
    turns = np.array([360.0 * code.endswith("_deg") for code in codes])[:, None]
    return change - turns * np.round(change / 360.0)
