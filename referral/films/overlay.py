"""What is drawn over a film: its landmarks, numbered, and the lines its readings come from.

One SVG document whose viewBox is the film as it is shown, with its pixels square; pages lay it
over the picture and sheets print it. Every stroke is drawn twice, light on dark, to show on any
grey.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from referral.core.errors import DegenerateCircle
from referral.core.geometry.circle import FEWEST_POINTS, fit_circle
from referral.core.geometry.frames import shown_size, square_stretch
from referral.core.geometry.points import Floats
from referral.core.measure.landmarks import LANDMARKS
from referral.core.measure.lateromedial import GROUND
from referral.core.measure.views import VIEWS

DARK, LIGHT, LINE, MARKER = "#000000", "#ffffff", "#ffe08a", "#8fe3ff"
BEYOND = 0.18
"""Lines run on by this share of their length at both ends, so that slopes can be seen."""

FINEST_SHARE = 1 / 420
"""The thinnest stroke as a share of the film's longer side."""
LABEL_HEIGHT = 12
LABEL_WIDTH = 8
"""Height of a label and room for one of its figures, in thinnest strokes."""

Dot = tuple[Floats, str]
"""Where a dot lies, and its label or nothing."""
Corner = tuple[int, int]
CORNERS: tuple[Corner, ...] = ((1, -1), (-1, -1), (1, 1), (-1, 1))
"""Where a label may stand beside its dot: to the right and up, and so on."""
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def overlay_svg(
    points_px: Mapping[str, Any],
    size_px: tuple[int, int],
    *,
    view: str = "lateromedial",
    marker_ends_px: Sequence[Sequence[float]] | None = None,
    pixel_aspect: tuple[float, float] = (1.0, 1.0),
) -> str:
    """Return the overlay; landmarks without a place are left out.

    ``points_px`` holds name -> (x, y), or a list of them for landmarks of several points.
    ``pixel_aspect`` is the (vertical, horizontal) length of a pixel.
    """
    width, height = shown_size(size_px, pixel_aspect)
    stretch = np.array(square_stretch(pixel_aspect))
    points = {name: np.asarray(raw, float) * stretch for name, raw in points_px.items() if len(raw)}
    fine = max(width, height) * FINEST_SHARE
    parts = [*_lines(points, view, fine), *_centre(points, fine)]
    dots: list[Dot] = []
    if marker_ends_px is not None:
        ends = np.asarray(marker_ends_px, float) * stretch
        parts.append(_stroke(ends[0], ends[1], fine, MARKER))
        dots += zip(ends, "AB", strict=True)
    parts += _dots([*dots, *_numbered(points, view)], fine, (width, height))
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="film-overlay" '
        f'viewBox="0 0 {width:g} {height:g}" '
        'font-family="\'Noto Sans\',sans-serif" font-weight="700" aria-hidden="true">'
        f"{''.join(parts)}</svg>"
    )


def landmark_numbers(view: str) -> Mapping[str, int]:
    """Return the number that stands beside each landmark of a view, from 1, in guided order."""
    return {name: place for place, name in enumerate(LANDMARKS.get(view, {}), start=1)}


def _lines(points: Mapping[str, Floats], view: str, fine: float) -> Iterator[str]:
    for first, second in VIEWS[view].lines:
        if first in points and second in points:
            along = (points[second] - points[first]) * BEYOND
            yield _stroke(points[first] - along, points[second] + along, fine, LINE)


def _centre(points: Mapping[str, Floats], fine: float) -> Iterator[str]:
    """Yield the joint's circle, its centre and the plumb line from there to the ground."""
    condyle = points.get("p2_condyle")
    if condyle is None or len(condyle) < FEWEST_POINTS:
        return
    try:
        circle = fit_circle(condyle)
    except DegenerateCircle:
        return
    centre, radius = circle.centre, float(circle.radius)
    for colour, width in ((DARK, 3.2), (LINE, 1.4)):
        yield (
            f'<ellipse cx="{centre[0]:.1f}" cy="{centre[1]:.1f}" rx="{radius:.1f}" '
            f'ry="{radius:.1f}" fill="none" stroke="{colour}" stroke-width="{width * fine:.1f}" '
            f'stroke-dasharray="{6 * fine:.1f} {4 * fine:.1f}"/>'
        )
    if all(name in points for name in GROUND):
        rear, front = (points[name] for name in GROUND)
        run = front - rear
        share = float((circle.centre - rear) @ run / (run @ run))
        yield _stroke(centre, rear + share * run, fine, LINE, dashed=True)
    yield _circle(centre, fine)


def _numbered(points: Mapping[str, Floats], view: str) -> Iterator[Dot]:
    numbers = landmark_numbers(view)
    for name, raw in points.items():
        label = str(numbers.get(name, ""))
        for place, at in enumerate(raw.reshape(-1, 2)):
            yield at, label if place == 0 else ""


def _dots(dots: Sequence[Dot], fine: float, size: tuple[float, float]) -> Iterator[str]:
    """Yield each dot with its label, where the picture has room and no other label stands."""
    taken: list[Box] = []
    for at, label in dots:
        yield _circle(at, fine)
        if label:
            corner, box = _place(at, label, fine, size, taken)
            taken.append(box)
            yield _label(label, box, corner, fine)


def _place(
    at: Floats, label: str, fine: float, size: tuple[float, float], taken: Sequence[Box]
) -> tuple[Corner, Box]:
    """Return the first corner of a dot that has room, else the first that is on the picture."""
    places = [(corner, _box(at, label, corner, fine)) for corner in CORNERS]
    seen = [each for each in places if _is_within(each[1], size)] or places
    free = [each for each in seen if not any(_meet(each[1], other) for other in taken)]
    return (free or seen)[0]


def _box(at: Floats, label: str, corner: Corner, fine: float) -> Box:
    wide, high = LABEL_WIDTH * len(label) * fine, LABEL_HEIGHT * fine
    left = float(at[0]) + (5 * fine if corner[0] > 0 else -5 * fine - wide)
    top = float(at[1]) + (4 * fine if corner[1] > 0 else -4 * fine - high)
    return left, top, left + wide, top + high


def _is_within(box: Box, size: tuple[float, float]) -> bool:
    return box[0] >= 0 and box[1] >= 0 and box[2] <= size[0] and box[3] <= size[1]


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _stroke(start: Floats, end: Floats, fine: float, colour: str, *, dashed: bool = False) -> str:
    dashes = f' stroke-dasharray="{4 * fine:.1f} {3 * fine:.1f}"' if dashed else ""
    where = f'x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}"'
    return "".join(
        f'<line {where} stroke="{stroke}" stroke-width="{width * fine:.1f}"{dashes}/>'
        for stroke, width in ((DARK, 3.2), (colour, 1.4))
    )


def _circle(at: Floats, fine: float) -> str:
    return (
        f'<circle cx="{float(at[0]):.1f}" cy="{float(at[1]):.1f}" r="{3.2 * fine:.1f}" '
        f'fill="{LIGHT}" stroke="{DARK}" stroke-width="{1.4 * fine:.1f}"/>'
    )


def _label(label: str, box: Box, corner: Corner, fine: float) -> str:
    across, anchor = (box[0], "") if corner[0] > 0 else (box[2], ' text-anchor="end"')
    size = LABEL_HEIGHT * fine
    place = f'x="{across:.1f}" y="{box[3]:.1f}" font-size="{size:.1f}"{anchor}'
    edge = f'stroke="{DARK}" stroke-width="{3 * fine:.1f}" stroke-linejoin="round"'
    return (
        f'<text {place} fill="{DARK}" {edge}>{label}</text>'
        f'<text {place} fill="{LIGHT}">{label}</text>'
    )
