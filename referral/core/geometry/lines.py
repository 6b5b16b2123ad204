"""Angles and distances of straight lines in a frame whose y points up."""

import numpy as np
from numpy.typing import ArrayLike

from referral.core.errors import DegenerateLine
from referral.core.geometry.points import Floats, are_apart

HALF_TURN_DEG = 180.0
FULL_TURN_DEG = 360.0


def slope_deg(a: Floats, b: Floats) -> Floats:
    """Return how much higher ``a`` lies than ``b``, as an angle seen from ``b`` back to ``a``.

    Parameters
    ----------
    a, b : ndarray, shape (..., 2)
        Two points in one frame, x to the toe, y up.

    Returns
    -------
    ndarray, shape (...)
        ``atan2(y_a - y_b, x_b - x_a)`` in degrees, in (-180, 180]; positive when ``a`` is
        higher and lies behind ``b``.

    Raises
    ------
    DegenerateLine
        If the two points of any pair lie on one spot.

    Examples
    --------
    >>> round(float(slope_deg(np.array([-71.726, 21.275]), np.array([0.0, 15.0]))), 3)
    5.0
    """
    _require_apart(a, b)
    run = b - a
    return _on_top(np.degrees(np.arctan2(-run[..., 1], run[..., 0])))


def undirected_deg(a: Floats, b: Floats) -> Floats:
    """Return the slope of the line through ``a`` and ``b``, whichever of them was placed first.

    Returns
    -------
    ndarray, shape (...)
        Degrees in [0, 180): 47 for a dorsal wall of 47, 95 for a heel that leans forward.

    Raises
    ------
    DegenerateLine
        If the two points of any pair lie on one spot.

    Examples
    --------
    >>> a, b = np.array([100.0, 150.0]), np.array([300.0, 100.0])
    >>> round(float(undirected_deg(a, b)), 3), round(float(undirected_deg(b, a)), 3)
    (14.036, 14.036)
    """
    slope = slope_deg(a, b) % HALF_TURN_DEG
    return np.where(slope >= HALF_TURN_DEG, 0.0, slope)


def difference_deg(first: ArrayLike, second: ArrayLike) -> Floats:
    """Return ``first`` minus ``second``, two directions in degrees, wrapped to (-180, 180].

    Examples
    --------
    >>> float(difference_deg(-179.0, 179.0))
    2.0
    """
    turned = np.subtract(first, second, dtype=np.float64)
    return turned - FULL_TURN_DEG * np.ceil(turned / FULL_TURN_DEG - 0.5)


def mean_deg(angles_deg: ArrayLike) -> Floats:
    """Return the mean direction over the last axis, taken on vectors, in (-180, 180].

    Raises
    ------
    DegenerateLine
        If the directions cancel each other, so that they have no mean.

    Examples
    --------
    >>> round(float(mean_deg([179.0, -179.0])), 9)
    180.0
    """
    angles = np.radians(np.asarray(angles_deg, dtype=np.float64))
    up, along = np.sin(angles).mean(axis=-1), np.cos(angles).mean(axis=-1)
    if (np.hypot(up, along) < 1e-12).any():  # noqa: PLR2004 - rounding of opposite unit vectors
        raise DegenerateLine("Directions that cancel each other have no mean.")
    return _on_top(np.degrees(np.arctan2(up, along)))


def angle_between_deg(first: Floats, second: Floats) -> Floats:
    """Return the turn from direction ``first`` to ``second``, counter-clockwise with y up.

    Parameters
    ----------
    first, second : ndarray, shape (..., 2)
        Direction vectors, of any length but zero.

    Returns
    -------
    ndarray, shape (...)
        ``atan2(cross, dot)`` in degrees, in (-180, 180].

    Raises
    ------
    DegenerateLine
        If a vector has no length.

    Examples
    --------
    >>> first, second = np.array([-100.0, 1.0]), np.array([-100.0, -1.0])
    >>> round(float(angle_between_deg(first, second)), 3)
    1.146
    """
    _require_apart(np.zeros(2), first)
    _require_apart(np.zeros(2), second)
    return _on_top(np.degrees(np.arctan2(cross(first, second), dot(first, second))))


def dot(first: Floats, second: Floats) -> Floats:
    """Return the scalar product, shape (...), in the product of the units.

    Examples
    --------
    >>> float(dot(np.array([1.0, 2.0]), np.array([3.0, 4.0])))
    11.0
    """
    return first[..., 0] * second[..., 0] + first[..., 1] * second[..., 1]


def cross(first: Floats, second: Floats) -> Floats:
    """Return the z part of the cross product, shape (...), in the product of the units.

    Examples
    --------
    >>> float(cross(np.array([1.0, 0.0]), np.array([0.0, 1.0])))
    1.0
    """
    return first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]


def normal(a: Floats, b: Floats) -> Floats:
    """Return the unit normal of the line from ``a`` to ``b``: its direction turned to the left.

    For a line that falls towards the toe the normal points up and forward, out of the bone.

    Raises
    ------
    DegenerateLine
        If the two points of any pair lie on one spot.

    Examples
    --------
    >>> normal(np.array([0.0, 0.0]), np.array([2.0, 0.0])).tolist()
    [-0.0, 1.0]
    """
    _require_apart(a, b)
    run = b - a
    length = np.hypot(run[..., 0], run[..., 1])
    return np.stack([-run[..., 1] / length, run[..., 0] / length], axis=-1)


def height_over_line(point: Floats, a: Floats, b: Floats) -> Floats:
    """Return the distance of ``point`` from the line ``a``-``b``, positive on its left side.

    Shape (...), in the unit of the points.

    Raises
    ------
    DegenerateLine
        If ``a`` and ``b`` of any pair lie on one spot.

    Examples
    --------
    >>> line = np.array([0.0, 0.0]), np.array([10.0, 0.0])
    >>> float(height_over_line(np.array([4.0, 3.0]), *line))
    3.0
    """
    return dot(point - a, normal(a, b))


def reach_to_line(start: Floats, direction: Floats, a: Floats, b: Floats) -> Floats:
    """Return how far from ``start`` along unit ``direction`` the line ``a``-``b`` is met.

    Returns
    -------
    ndarray, shape (...)
        In the unit of the points; negative when the line is met backwards; infinite or NaN
        when the two run side by side.

    Examples
    --------
    >>> up = np.array([0.0, 1.0])
    >>> float(reach_to_line(np.zeros(2), up, np.array([-1.0, 4.0]), np.array([1.0, 6.0])))
    5.0
    """
    run = b - a
    with np.errstate(divide="ignore", invalid="ignore"):
        reach: Floats = cross(a - start, run) / cross(direction, run)
    return reach


def _require_apart(a: Floats, b: Floats) -> None:
    if not are_apart(a, b):
        raise DegenerateLine("Two points on one spot do not make a line; place them apart.")


def _on_top(angle_deg: Floats) -> Floats:
    """Return the angle with -180 written as 180, so that the range is half open."""
    return np.where(angle_deg <= -HALF_TURN_DEG, HALF_TURN_DEG, angle_deg)
