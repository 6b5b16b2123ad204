"""Refuse landmarks that cannot be measured: one sentence, and the path of the culprit."""

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from referral.core.errors import CoreError, DegenerateLine, UnknownLandmark
from referral.core.geometry.points import Floats, are_apart, as_points
from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS

Size = tuple[int, int]

MOST_POINTS = 50
"""More points on one arc than this are a mistake, and slow."""

FARTHEST = 1e5
"""Greatest coordinate of points that lie in no picture, so that no square overflows."""


def checked_landmarks(
    view: str, raw: Mapping[str, Any], root: str, size_px: Size | None
) -> dict[str, Floats]:
    """Return the landmarks as float64 points, each looked at on its own.

    Parameters
    ----------
    view : str
        A view of ``LANDMARKS``.
    raw : mapping
        Landmark name -> [x, y], or [[x, y], ...] for the condyle; pixels or foot-frame mm.
    root : str
        Path of ``raw``, for errors: ``film.landmarks_px``.
    size_px : tuple of int or None
        Width and height that points must lie in; ``None`` for points in millimetres.

    Raises
    ------
    UnknownLandmark
        If the view has no landmark of that name.
    CoreError
        If a value is not a point or a row of at most 50 points, or lies outside the picture.
    NotFinite
        If a coordinate is NaN or infinite.

    Examples
    --------
    >>> points = checked_landmarks("lateromedial", {"toe": [3, 4]}, "film.landmarks_px", (9, 9))
    >>> points["toe"].tolist()
    [3.0, 4.0]
    """
    known = LANDMARKS[view]
    points: dict[str, Floats] = {}
    for name, value in raw.items():
        at = f"{root}.{name}"
        if name not in known:
            raise UnknownLandmark(f"A {picture_name(view)} has no landmark {name!r}.", at=at)
        points[name] = as_points(value, at=at)
        _check_shape(name, points[name], at)
    if size_px is not None and points:
        _check_inside(points, size_px, root)
    return points


def picture_name(view: str) -> str:
    """Return what a picture of a view is called.

    Examples
    --------
    >>> picture_name("lateromedial"), picture_name("sole_photo")
    ('lateromedial film', 'sole photo')
    """
    name = view.replace("_", " ")
    return name if name.endswith("photo") else f"{name} film"


def check_above(points: Mapping[str, Floats], names: Iterable[str], root: str) -> None:
    """Refuse bone, in the foot frame, at or under the ground line.

    Raises
    ------
    CoreError
        If one of the landmarks ``names`` has a y of zero or less.

    Examples
    --------
    >>> check_above({"p3_tip": as_points([0, 15])}, ["p3_tip"], "film.landmarks_mm")
    """
    for name in names:
        if name in points and not points[name][1] > 0.0:
            raise CoreError(
                f"{name} must lie above the ground line; in the foot frame y points up.",
                at=f"{root}.{name}",
            )


def check_lines(points: Mapping[str, Floats], lines: Iterable[tuple[str, str]], root: str) -> None:
    """Refuse pairs of landmarks that must span a line but lie on one spot.

    Raises
    ------
    DegenerateLine
        With the path of the pair's second landmark.

    Examples
    --------
    >>> check_lines({"toe": as_points([0, 0]), "heel": as_points([9, 0])}, [("heel", "toe")], "")
    """
    for first, second in lines:
        if first in points and second in points and not are_apart(points[first], points[second]):
            raise DegenerateLine(
                f"{first} and {second} lie on one spot, so they make no line; place them apart.",
                at=f"{root}.{second}",
            )


def check_order(points: Mapping[str, Floats], pairs: Iterable[tuple[str, str]], root: str) -> None:
    """Refuse a foot, in the foot frame, that stands the wrong way round.

    Raises
    ------
    CoreError
        If the first of a pair, which lies behind (or medial), has the greater x.

    Examples
    --------
    >>> check_order({"toe": as_points([9, 0]), "heel": as_points([0, 0])}, [("heel", "toe")], "")
    """
    for rear, front in pairs:
        if rear in points and front in points and not points[rear][0] < points[front][0]:
            raise CoreError(
                f"{rear} lies in front of {front} as the ground line runs; "
                "swap whichever points are exchanged.",
                at=f"{root}.{rear}",
            )


def check_sides(points: Mapping[str, Floats], pairs: Iterable[tuple[str, str]], root: str) -> None:
    """Refuse a sole, y to the lateral side, whose landmarks contradict each other on the side.

    Raises
    ------
    CoreError
        If the first of a pair, which is the medial one, does not have the smaller y.

    Examples
    --------
    >>> sides = {"heel_medial": as_points([0, -9]), "heel_lateral": as_points([0, 9])}
    >>> check_sides(sides, [("heel_medial", "heel_lateral")], "")
    """
    for medial, lateral in pairs:
        both = medial in points and lateral in points
        if both and not points[medial][1] < points[lateral][1]:
            raise CoreError(
                f"{medial} lies on the lateral side of {lateral}, as the other landmarks have it; "
                "swap whichever points are exchanged.",
                at=f"{root}.{medial}",
            )


def is_upside_down(points: Mapping[str, Floats], upper: str, lower: str) -> bool:
    """Return whether both points of a line are there and its upper one lies lower.

    Examples
    --------
    >>> line = {"wall_proximal": as_points([0, 5]), "wall_distal": as_points([0, 50])}
    >>> is_upside_down(line, "wall_proximal", "wall_distal")
    True
    """
    both = upper in points and lower in points
    return both and bool(points[upper][1] < points[lower][1])


def _check_shape(name: str, points: Floats, at: str) -> None:
    if name in SEVERAL_POINTS:
        if points.ndim != 2:  # noqa: PLR2004 - rows of x and y
            raise CoreError(f"{name} is a row of points, [[x, y], [x, y], [x, y]].", at=at)
        if len(points) > MOST_POINTS:
            raise CoreError(f"{name} takes {MOST_POINTS} points at most.", at=at)
    elif points.ndim != 1:
        raise CoreError(f"{name} is one point, [x, y].", at=at)
    if (np.abs(points) > FARTHEST).any():
        raise CoreError(f"A coordinate of {name} is beyond {FARTHEST:g}.", at=at)


def _check_inside(points: Mapping[str, Floats], size_px: Size, root: str) -> None:
    width, height = size_px
    every = np.concatenate([each.reshape(-1, 2) for each in points.values()])
    outside = ((every < 0.0) | (every > (width, height))).any(axis=-1)
    if not outside.any():
        return
    names = [name for name, each in points.items() for _ in each.reshape(-1, 2)]
    first = int(np.flatnonzero(outside)[0])
    x, y = every[first]
    raise CoreError(
        f"The point ({x:g}, {y:g}) lies outside the picture of {width} x {height} pixels.",
        at=f"{root}.{names[first]}",
    )
