"""A trim along the wall, and the same trim square to the bearing surface."""

import math

from referral.core.errors import CoreError, NotFinite

STRAIGHT_DEG = 180.0


def square_mm(along_wall_mm: float, wall_angle_deg: float) -> float:
    """Return how much a trim measured along the wall takes square to the bearing surface, in mm.

    Parameters
    ----------
    along_wall_mm : float
        Horn taken, measured along the wall.
    wall_angle_deg : float
        That wall to the bearing surface: the dorsal wall for the toe, the heel wall for heels.

    Raises
    ------
    NotFinite
        If a number is NaN or infinite.
    CoreError
        If the wall's angle does not lie between 0 and 180 degrees.

    Notes
    -----
    Source: geometry, height = length x sin(angle).

    Examples
    --------
    >>> round(square_mm(6.84, 47.0), 1)
    5.0
    """
    return along_wall_mm * _sine(along_wall_mm, wall_angle_deg)


def along_wall_mm(square: float, wall_angle_deg: float) -> float:
    """Return how long a trim square to the bearing surface is when measured along the wall, in mm.

    Raises
    ------
    NotFinite, CoreError
        As for `square_mm`.

    Examples
    --------
    >>> round(along_wall_mm(5.0, 47.0), 1)
    6.8
    """
    return square / _sine(square, wall_angle_deg)


def _sine(length_mm: float, wall_angle_deg: float) -> float:
    if not (math.isfinite(length_mm) and math.isfinite(wall_angle_deg)):
        raise NotFinite("The trim or the wall's angle is not a number.", at="toe_trim_mm")
    if not 0.0 < wall_angle_deg < STRAIGHT_DEG:
        raise CoreError("A wall stands between 0 and 180 degrees.", at="wall_angle_deg")
    return math.sin(math.radians(wall_angle_deg))
