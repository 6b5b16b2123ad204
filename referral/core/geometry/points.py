"""Points as float64 arrays whose last axis is (x, y); every function broadcasts over the rest."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from referral.core.errors import CoreError, NotFinite

Floats = NDArray[np.float64]

NOT_A_POINT = "A point is two numbers, [x, y]."

SAME_POINT = 1e-6
"""Two points nearer than this, in their own unit, lie on one spot."""


def as_points(raw: ArrayLike, *, at: str = "") -> Floats:
    """Return ``raw`` as points, shape (..., 2), in the unit and frame they came in.

    Parameters
    ----------
    raw : array_like
        Numbers whose last axis is (x, y).
    at : str
        Path of the value, for the error.

    Raises
    ------
    CoreError
        If ``raw`` is not numbers, or its last axis does not hold two.
    NotFinite
        If a number is NaN or infinite.

    Notes
    -----
    Points are never rounded to whole pixels: a landmark sits where it was put.

    Examples
    --------
    >>> as_points([[1, 2], [3, 4]]).shape
    (2, 2)
    """
    try:
        points = np.asarray(raw, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise CoreError(NOT_A_POINT, at=at) from error
    if points.ndim == 0 or points.shape[-1] != 2:  # noqa: PLR2004 - x and y
        raise CoreError(NOT_A_POINT, at=at)
    if not np.isfinite(points).all():
        raise NotFinite("A point must be two finite numbers.", at=at)
    return points


def distance(a: Floats, b: Floats) -> Floats:
    """Return the distance between ``a`` and ``b``, shape (...), in their own unit, never negative.

    Examples
    --------
    >>> float(distance(np.array([0.0, 0.0]), np.array([3.0, 4.0])))
    5.0
    """
    gap = b - a
    return np.hypot(gap[..., 0], gap[..., 1])


def are_apart(a: Floats, b: Floats) -> bool:
    """Return whether every pair of ``a`` and ``b`` is farther apart than ``SAME_POINT``.

    Examples
    --------
    >>> are_apart(np.array([0.0, 0.0]), np.array([0.0, 0.0]))
    False
    """
    return bool((distance(a, b) > SAME_POINT).all())
