"""Wedges and trims as a farrier measures them: heights, angles, along the wall."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from referral.core.errors import ImpossiblePlan, NotFinite

UPRIGHT_DEG = 90.0


def wedge_height_mm(length_mm: ArrayLike, wedge_deg: ArrayLike) -> NDArray[np.float64]:
    """Return the height of a wedge at its thick end, in mm.

    Parameters
    ----------
    length_mm : array_like, shape (...)
        Length of the wedge along the foot; positive.
    wedge_deg : array_like, shape (...)
        Angle of the wedge; + heels up.

    Returns
    -------
    ndarray, shape (...)
        t = L tan(theta), with the sign of the angle.

    Raises
    ------
    NotFinite
        If a number is NaN or infinite.
    ImpossiblePlan
        If the length is not positive or the angle reaches 90 degrees.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> round(float(wedge_height_mm(120.0, 3.0)), 2)
    6.29
    """
    angle = _finite(wedge_deg, "wedge_deg")
    if np.any(np.abs(angle) >= UPRIGHT_DEG):
        raise ImpossiblePlan("A wedge is less than 90 degrees.", at="wedge_deg")
    return np.asarray(_length(length_mm) * np.tan(np.radians(angle)))


def wedge_angle_deg(length_mm: ArrayLike, height_mm: ArrayLike) -> NDArray[np.float64]:
    """Return the angle of a wedge in degrees, + heels up.

    Parameters
    ----------
    length_mm : array_like, shape (...)
        Length of the wedge along the foot; positive.
    height_mm : array_like, shape (...)
        Height at the heel less height at the toe.

    Returns
    -------
    ndarray, shape (...)
        theta = atan(t / L).

    Raises
    ------
    NotFinite
        If a number is NaN or infinite.
    ImpossiblePlan
        If the length is not positive.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> round(float(wedge_angle_deg(120.0, 10.0)), 2)
    4.76
    """
    height = _finite(height_mm, "height_mm")
    return np.asarray(np.degrees(np.arctan2(height, _length(length_mm))))


def trim_along_wall_mm(trim_mm: ArrayLike, wall_angle_deg: ArrayLike) -> NDArray[np.float64]:
    """Return a trim as it measures along the wall, in mm.

    Parameters
    ----------
    trim_mm : array_like, shape (...)
        Trim measured square to the bearing surface.
    wall_angle_deg : array_like, shape (...)
        Wall to the bearing surface, more than 0 and less than 180.

    Returns
    -------
    ndarray, shape (...)
        trim / sin(angle).

    Raises
    ------
    NotFinite
        If a number is NaN or infinite.
    ImpossiblePlan
        If the wall lies along the ground.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> round(float(trim_along_wall_mm(5.0, 47.0)), 1)
    6.8
    """
    angle = _finite(wall_angle_deg, "wall_angle_deg")
    if np.any((angle <= 0) | (angle >= 2 * UPRIGHT_DEG)):
        raise ImpossiblePlan("A wall stands between 0 and 180 degrees.", at="wall_angle_deg")
    return np.asarray(_finite(trim_mm, "trim_mm") / np.sin(np.radians(angle)))


def trim_tilt_deg(
    toe_trim_mm: ArrayLike, heel_trim_mm: ArrayLike, length_mm: ArrayLike
) -> NDArray[np.float64]:
    """Return how far a trim turns a foot with upright walls, in degrees, + heels up.

    Parameters
    ----------
    toe_trim_mm, heel_trim_mm : array_like, shape (...)
        Horn removed at each end, square to the bearing surface.
    length_mm : array_like, shape (...)
        Bearing length; positive.

    Returns
    -------
    ndarray, shape (...)
        atan((toe - heel) / L). Walls that slope change L as they are trimmed; the
        moved foot takes that into account, this rule of thumb does not.

    Raises
    ------
    NotFinite
        If a number is NaN or infinite.
    ImpossiblePlan
        If the length is not positive.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> round(float(trim_tilt_deg(0.0, 5.0, 110.0)), 2)
    -2.6
    """
    toe = _finite(toe_trim_mm, "toe_trim_mm")
    heel = _finite(heel_trim_mm, "heel_trim_mm")
    return wedge_angle_deg(length_mm, toe - heel)


def _finite(value: ArrayLike, name: str) -> NDArray[np.float64]:
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        raise NotFinite(f"{name} is not a number.", at=name)
    return array


def _length(value: ArrayLike) -> NDArray[np.float64]:
    length = _finite(value, "length_mm")
    if np.any(length <= 0):
        raise ImpossiblePlan("A length is more than 0 mm.", at="length_mm")
    return length
