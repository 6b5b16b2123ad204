"""Landmarks as one vector of inputs with their uncertainty, and back to points of the foot."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from referral.core.geometry.frames import FootFrame, foot_frame
from referral.core.geometry.points import Floats, distance

FOOT_ACROSS_MM = 150.0
"""Size of an adult forefoot, used only for the u of angles on a picture without scale."""


@dataclass(frozen=True, slots=True)
class Axes:
    """The landmarks a frame is built from: a line from rear to front, and what lies above it.

    With ``other_rear`` the line starts midway between the two.
    """

    rear: str
    front: str
    above: str
    other_rear: str | None = None


@dataclass(frozen=True, slots=True)
class Placement:
    """A film's landmarks as independent inputs.

    ``x0`` and ``u``, shape (2 n + 2,), hold the n points' coordinates (picture or foot frame),
    the length scale (1) and the stretch along the ground that an oblique film may carry (1).
    Lengths are mm, or pixels of the film's aspect when it has no scale; ``unit_mm`` is what
    one such unit measures, taken from the size of the foot where it is not known. ``spans``
    says which points belong to which landmark; ``axes`` is ``None`` for points that are
    already in the foot frame.
    """

    x0: Floats
    u: Floats
    spans: Mapping[str, slice | int]
    axes: Axes | None
    unit_mm: float = 1.0

    def points(self, x: Floats) -> dict[str, Floats]:
        """Return the landmarks in the foot frame for inputs (..., 2 n + 2), as the kernels take.

        Raises
        ------
        DegenerateLine
            If the points of the ground line lie on one spot.
        """
        every = x[..., :-2].reshape(*x.shape[:-1], -1, 2) * x[..., -2, None, None]
        if self.axes is not None:
            every = self._frame(every, self.axes).to_foot(every)
        every = every * np.stack([x[..., -1], np.ones_like(x[..., -1])], axis=-1)[..., None, :]
        return {name: every[..., span, :] for name, span in self.spans.items()}

    def _frame(self, every: Floats, axes: Axes) -> FootFrame:
        """Return the frame of picture points (..., n, 2); its parts have shape (..., 1, 2)."""
        rear, front, above = (
            every[..., self.spans[name], :] for name in (axes.rear, axes.front, axes.above)
        )
        if axes.other_rear is not None:
            rear = (rear + every[..., self.spans[axes.other_rear], :]) / 2.0
        frame = foot_frame(rear, front, above)
        parts = (frame.origin, frame.x_axis, frame.y_axis)
        return FootFrame(*(part[..., None, :] for part in parts))


def lay_out(landmarks: Mapping[str, Floats]) -> tuple[Floats, dict[str, slice | int]]:
    """Return all points in one array (n, 2), and where each landmark sits in it.

    Examples
    --------
    >>> lay_out({"p3_tip": np.zeros(2), "p2_condyle": np.ones((3, 2))})[1]
    {'p3_tip': 0, 'p2_condyle': slice(1, 4, None)}
    """
    spans: dict[str, slice | int] = {}
    count = 0
    for name, points in landmarks.items():
        rows = len(points) if points.ndim > 1 else 1
        spans[name] = slice(count, count + rows) if points.ndim > 1 else count
        count += rows
    every = np.concatenate([points.reshape(-1, 2) for points in landmarks.values()])
    return every, spans


def guessed_unit_mm(
    known_size: tuple[str, str, float] | None, landmarks: Mapping[str, Floats], every: Floats
) -> float:
    """Return what one unit of an unscaled picture measures on a foot of ordinary size.

    ``known_size`` are two landmarks and their usual distance in mm; where they are not placed
    all points (n, 2) together are taken to span 150 mm.

    Examples
    --------
    >>> ends = {"heel": np.zeros(2), "toe": np.array([260.0, 0.0])}
    >>> guessed_unit_mm(("heel", "toe", 130.0), ends, np.zeros((2, 2)))
    0.5
    """
    if known_size is not None and landmarks.keys() >= set(known_size[:2]):
        first, second, usual_mm = known_size
        return usual_mm / float(distance(landmarks[first], landmarks[second]))
    across = float(np.hypot(*np.ptp(every, axis=0)))
    return FOOT_ACROSS_MM / across if across > 0.0 else 1.0
