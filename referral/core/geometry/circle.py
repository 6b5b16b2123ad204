"""The least-squares circle through points on an arc."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from referral.core.errors import DegenerateCircle
from referral.core.geometry.points import Floats

FEWEST_POINTS = 3
FLAT = 1e-7
"""Points whose spread across is less than this share of their spread along lie on a line."""

STEPS = 5
"""Most Gauss-Newton steps; from the algebraic start two or three reach rounding error."""

ENOUGH = 1.0 - 1e-9
"""A step that lessens the sum of squares by a smaller share is not worth taking."""


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle, in the unit and frame of its points.

    ``centre`` has shape (..., 2); ``radius`` and ``residual``, the root mean square
    distance of the points from the circle, have shape (...).
    """

    centre: Floats
    radius: Floats
    residual: Floats


def fit_circle(points: Floats) -> Circle:
    """Return the circle with the least sum of squared distances from ``points``.

    Parameters
    ----------
    points : ndarray, shape (..., k, 2)
        Three points or more each.

    Returns
    -------
    Circle
        In the unit and frame of the points. Three points are met exactly (residual 0).

    Raises
    ------
    DegenerateCircle
        If there are fewer than three points, or they lie on one spot or on a straight line.

    Notes
    -----
    Starts from the algebraic fit (Kasa, IEEE Trans. Instrum. Meas. 25, 1976, from memory) and
    goes on by Gauss-Newton steps on the distances, each kept only where it comes nearer,
    because the algebraic fit alone reads short arcs too small.

    Examples
    --------
    >>> circle = fit_circle(np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]]))
    >>> circle.centre.round(9).tolist(), round(float(circle.radius), 9)
    ([0.0, 0.0], 1.0)
    """
    if points.shape[-2] < FEWEST_POINTS:
        raise DegenerateCircle("A circle needs three points or more.")
    middle = points.mean(axis=-2, keepdims=True)
    offsets = points - middle
    centre = _algebraic_centre(offsets)
    radius, miss = _misses(offsets, centre)
    for _ in range(STEPS if points.shape[-2] > FEWEST_POINTS else 0):
        trial = centre + _step(offsets, centre, miss)
        trial_radius, trial_miss = _misses(offsets, trial)
        better = _dot(trial_miss, trial_miss) < ENOUGH * _dot(miss, miss)
        if not better.any():
            break
        centre = np.where(better[..., None], trial, centre)
        radius = np.where(better, trial_radius, radius)
        miss = np.where(better[..., None], trial_miss, miss)
    residual = np.sqrt(_dot(miss, miss) / points.shape[-2])
    return Circle(centre + middle[..., 0, :], radius, residual)


def arc_deg(points: Floats, centre: Floats) -> Floats:
    """Return how much of the circle round ``centre`` the points cover.

    Parameters
    ----------
    points : ndarray, shape (..., k, 2)
    centre : ndarray, shape (..., 2)

    Returns
    -------
    ndarray, shape (...)
        Degrees in [0, 360): the full turn less the widest gap between neighbours.

    Examples
    --------
    >>> float(arc_deg(np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]]), np.zeros(2)))
    180.0
    """
    spokes = points - centre[..., None, :]
    turns = np.sort(np.degrees(np.arctan2(spokes[..., 1], spokes[..., 0])), axis=-1)
    across = turns[..., :1] + 360.0 - turns[..., -1:]
    gaps = np.concatenate([np.diff(turns, axis=-1), across], axis=-1)
    covered: Floats = 360.0 - gaps.max(axis=-1)
    return covered


def _algebraic_centre(offsets: Floats) -> Floats:
    x, y = offsets[..., 0], offsets[..., 1]
    centre, is_flat = _least_squares(x, y, (x * x + y * y) / 2.0)
    if is_flat.any():
        raise DegenerateCircle("Points on one spot or on a straight line do not make a circle.")
    return centre


def _misses(offsets: Floats, centre: Floats) -> tuple[Floats, Floats]:
    reach = np.hypot(offsets[..., 0] - centre[..., 0, None], offsets[..., 1] - centre[..., 1, None])
    radius = reach.mean(axis=-1)
    return radius, reach - radius[..., None]


def _step(offsets: Floats, centre: Floats, miss: Floats) -> Floats:
    x, y = offsets[..., 0] - centre[..., 0, None], offsets[..., 1] - centre[..., 1, None]
    reach = np.hypot(x, y)
    x, y = x / reach, y / reach
    x, y = x - x.mean(axis=-1, keepdims=True), y - y.mean(axis=-1, keepdims=True)
    step, is_flat = _least_squares(x, y, miss)
    return np.where(is_flat[..., None], 0.0, step)


def _least_squares(x: Floats, y: Floats, wanted: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the (a, b) for which a x + b y comes nearest to ``wanted``.

    And where the (x, y) lie on one spot or a straight line, so that there is no such pair.
    """
    xx, yy, xy = _dot(x, x), _dot(y, y), _dot(x, y)
    along, up = _dot(x, wanted), _dot(y, wanted)
    det = xx * yy - xy * xy
    # The determinant is the product of the squared spreads along and across.
    is_flat = det <= (FLAT * (xx + yy)) ** 2
    found = np.stack([yy * along - xy * up, xx * up - xy * along], axis=-1)
    return found / np.where(is_flat, 1.0, det)[..., None], is_flat


def _dot(first: Floats, second: Floats) -> Floats:
    product: Floats = np.einsum("...k,...k->...", first, second)
    return product
