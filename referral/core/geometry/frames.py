"""From the picture's pixels to millimetres, and from there to the foot's own frame."""

from dataclasses import dataclass

import numpy as np

from referral.core.errors import CoreError, DegenerateLine
from referral.core.geometry.lines import dot
from referral.core.geometry.points import SAME_POINT, Floats, are_apart

ASPECT_TOLERANCE = 0.005
"""How far a copy's sides may differ in proportion from the original's (0.5 %)."""


@dataclass(frozen=True, slots=True)
class FootFrame:
    """Where the foot's frame lies in the picture, once the picture is in millimetres.

    ``origin`` and the unit vectors ``x_axis`` (along the ground, to the toe or the lateral
    side) and ``y_axis`` (up) have shape (..., 2), with x right and y down as in the picture.
    """

    origin: Floats
    x_axis: Floats
    y_axis: Floats

    def to_foot(self, points: Floats) -> Floats:
        """Return picture points (..., 2) in the foot frame, same unit.

        The frame's own axes must broadcast with those of ``points``.

        Examples
        --------
        >>> frame = foot_frame(np.array([0.0, 9.0]), np.array([5.0, 9.0]), np.array([2.0, 4.0]))
        >>> frame.to_foot(np.array([2.0, 4.0])).tolist()
        [2.0, 5.0]
        """
        offset = points - self.origin
        return np.stack([dot(offset, self.x_axis), dot(offset, self.y_axis)], axis=-1)

    def to_picture(self, points: Floats) -> Floats:
        """Return foot-frame points (..., 2) back in the picture, same unit.

        Examples
        --------
        >>> frame = foot_frame(np.array([0.0, 9.0]), np.array([5.0, 9.0]), np.array([2.0, 4.0]))
        >>> frame.to_picture(np.array([2.0, 5.0])).tolist()
        [2.0, 4.0]
        """
        out: Floats = self.origin + points[..., :1] * self.x_axis + points[..., 1:] * self.y_axis
        return out


def square_stretch(aspect: tuple[float, float]) -> tuple[float, float]:
    """Return how many times wider and higher a pixel is shown, so that it looks as it measures.

    ``aspect`` is the (vertical, horizontal) length of a pixel, in any unit. One factor of the
    two, across then down, is 1 and none is below it, so that no pixel is lost.

    Notes
    -----
    Source: DICOM PS3.3 section C.7.6.3.1.7: the pixel aspect ratio is vertical over horizontal.

    Examples
    --------
    >>> square_stretch((4.0, 3.0))[1]
    1.3333333333333333
    """
    vertical, horizontal = aspect
    least = min(vertical, horizontal)
    return horizontal / least, vertical / least


def shown_size(size_px: tuple[int, int], aspect: tuple[float, float]) -> tuple[float, float]:
    """Return the width and height of a picture once its pixels are shown square.

    Both stand in the pixels of that side which is not stretched.

    Examples
    --------
    >>> shown_size((256, 120), (4.0, 3.0))
    (256.0, 160.0)
    """
    across, down = square_stretch(aspect)
    return size_px[0] * across, size_px[1] * down


def pixels_to_mm(points_px: Floats, row_mm: float, column_mm: float) -> Floats:
    """Return points of the picture in millimetres, x right, y down.

    Parameters
    ----------
    points_px : ndarray, shape (..., 2)
        Pixels, x right, y down.
    row_mm, column_mm : float
        Distance between rows (it stretches y) and between columns (it stretches x). A pixel
        aspect, vertical and horizontal, serves in their place when there is no spacing.

    Notes
    -----
    Source: DICOM PS3.3 section 10.7.1.3: the first value of a spacing pair is between rows.

    Examples
    --------
    >>> pixels_to_mm(np.array([600.0, 800.0]), 0.5954, 0.5454).round(2).tolist()
    [327.24, 476.32]
    """
    scaled: Floats = points_px * np.array([column_mm, row_mm])
    return scaled


def foot_frame(rear: Floats, front: Floats, above: Floats) -> FootFrame:
    """Return the frame whose ground line runs from ``rear`` to ``front``.

    Parameters
    ----------
    rear, front : ndarray, shape (..., 2)
        The two ground points, picture in millimetres: palmar and dorsal, or medial and lateral.
    above : ndarray, shape (..., 2)
        A point of the foot: y points to the side on which it lies.

    Returns
    -------
    FootFrame
        Origin at ``rear``. Turning or mirroring the picture changes no foot coordinate.

    Raises
    ------
    DegenerateLine
        If the ground points lie on one spot, or ``above`` lies on the ground line.

    Examples
    --------
    >>> foot_frame(np.array([9.0, 0.0]), np.array([0.0, 0.0]), np.array([3.0, -4.0])).x_axis
    array([-1.,  0.])
    """
    if not are_apart(rear, front):
        raise DegenerateLine("The two ground points lie on one spot; place them apart.")
    run = front - rear
    x_axis = run / np.hypot(run[..., 0], run[..., 1])[..., None]
    left = np.stack([-x_axis[..., 1], x_axis[..., 0]], axis=-1)
    height = dot(above - rear, left)
    if (np.abs(height) <= SAME_POINT).any():
        raise DegenerateLine("The foot's landmark lies on the ground line; it must be above it.")
    return FootFrame(rear, x_axis, left * np.sign(height)[..., None])


def from_copy(
    points_px: Floats, copy_px: tuple[float, float], original_px: tuple[float, float]
) -> Floats:
    """Return points placed on a smaller copy of a picture in the original's pixels.

    Parameters
    ----------
    points_px : ndarray, shape (..., 2)
        Pixels of the copy.
    copy_px, original_px : tuple of float
        Width and height of the copy and of the stored original.

    Raises
    ------
    CoreError
        If a side is not above zero, or the copy's proportions differ by more than 0.5 %.

    Examples
    --------
    >>> from_copy(np.array([300.0, 200.0]), (1200, 960), (3000, 2400)).tolist()
    [750.0, 500.0]
    """
    if min(*copy_px, *original_px) <= 0:
        raise CoreError("A picture's width and height must be above zero.", at="size_px")
    across, down = original_px[0] / copy_px[0], original_px[1] / copy_px[1]
    if abs(across / down - 1.0) > ASPECT_TOLERANCE:
        raise CoreError(
            "The copy has other proportions than the original, so points on it cannot be used.",
            at="size_px",
        )
    scaled: Floats = points_px * np.array([across, down])
    return scaled
