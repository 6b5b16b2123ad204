"""An outline as an SVG drawing: small on a page, or at true size on paper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from referral.shoes.outline import ShoeShape, outline_of

HAIR = 0.25
"""Width of drawn lines at true size, millimetres."""
STAND_OUT_MM = 6.0
BAR_MM = 100.0
BAR_ROOM_MM = 12.0
TICK_MM = 3.0
ROUND_MM = 4
CROSS_MM = 3.0
INK, LINE, BAR, FOOT = "#14191f", "#3d4650", "#8a0f1f", "#0b4d30"
Marks = Sequence[tuple[float, float]]
"""Places of a foot in the shoe's frame, millimetres."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """An SVG picture and how large it is at true size."""

    svg: str
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class _Frame:
    """Turns the shoe's frame into the paper's: x to the right, y down, the toe at the top."""

    left_mm: float
    toe_mm: float
    lateral_to_right: bool

    def at(self, x: float, y: float) -> tuple[float, float]:
        across = y if self.lateral_to_right else -y
        return (self.left_mm + across, self.toe_mm - x)

    def text(self, x: float, y: float) -> str:
        across, down = self.at(x, y)
        return f"{across:.{ROUND_MM}f} {down:.{ROUND_MM}f}"


def small_svg(shoe: ShoeShape, *, limb: str | None = None) -> str:
    """Return the outline as a small drawing for a page, toe up; its size is the style sheet's.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    outline = outline_of(shoe)
    frame, width, height = _placed(outline, limb, 2.0)
    return (
        f'<svg class="shoe-outline" viewBox="0 0 {width:.1f} {height:.1f}" aria-hidden="true" '
        f'focusable="false"><path d="{_path(outline, frame)}" fill-rule="evenodd"/>'
        f'<path class="shoe-line" d="{_lines(shoe, outline, frame)}"/></svg>'
    )


def true_drawing(shoe: ShoeShape, *, limb: str | None = None, foot: Marks = ()) -> Drawing:
    """Return the outline at true size with centre line, widest line, heel line and check bars.

    ``foot`` are places of the foot it is to lie on, drawn as crosses.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    outline = outline_of(shoe)
    frame, width, height = _placed(outline, limb, STAND_OUT_MM, left_mm=BAR_ROOM_MM, foot=foot)
    width = max(width, BAR_ROOM_MM + BAR_MM + STAND_OUT_MM)
    height = max(height, BAR_MM + STAND_OUT_MM) + BAR_ROOM_MM
    bottom = height - TICK_MM
    bars = (
        f"M{BAR_ROOM_MM} {bottom}h{BAR_MM}M{TICK_MM} {STAND_OUT_MM}v{BAR_MM}"
        f"M{BAR_ROOM_MM} {bottom - TICK_MM}v{2 * TICK_MM}"
        f"M{BAR_ROOM_MM + BAR_MM} {bottom - TICK_MM}v{2 * TICK_MM}"
        f"M0 {STAND_OUT_MM}h{2 * TICK_MM}M0 {STAND_OUT_MM + BAR_MM}h{2 * TICK_MM}"
    )
    words = (
        f'<text x="{BAR_ROOM_MM + BAR_MM / 2}" y="{bottom - 1.5}" text-anchor="middle">'
        "100 mm</text>"
        f'<text transform="translate({TICK_MM + 4} {STAND_OUT_MM + BAR_MM / 2}) rotate(-90)" '
        'text-anchor="middle">100 mm</text>' + _sides(outline, frame)
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.{ROUND_MM}f}mm" '
        f'height="{height:.{ROUND_MM}f}mm" viewBox="0 0 {width:.{ROUND_MM}f} '
        f'{height:.{ROUND_MM}f}" font-family="Noto Sans" font-size="3.2" fill="{INK}">'
        f'<path d="{_path(outline, frame)}" fill="none" stroke="{INK}" stroke-width="{2 * HAIR}"/>'
        f'<path d="{_lines(shoe, outline, frame)}" fill="none" stroke="{LINE}" '
        f'stroke-width="{HAIR}" stroke-dasharray="4 1.5"/>'
        f'<path d="{bars}" fill="none" stroke="{BAR}" stroke-width="{HAIR}"/>'
        f"{_crosses(foot, frame)}{words}</svg>"
    )
    return Drawing(svg, width, height)


def _placed(
    outline: Any,  # noqa: ANN401 - a shapely geometry
    limb: str | None,
    room_mm: float,
    *,
    left_mm: float = 0.0,
    foot: Marks = (),
) -> tuple[_Frame, float, float]:
    """Return the frame in which the outline stands with room around it, and the paper's size."""
    rear, low, front, high = outline.bounds
    along, across = [x for x, _y in foot], [y for _x, y in foot]
    rear, front = min([rear, *along]), max([front, *along])
    low, high = min([low, *across]), max([high, *across])
    to_right = limb is None or limb[0] == "R"
    frame = _Frame(left_mm + room_mm + (-low if to_right else high), room_mm + front, to_right)
    return frame, left_mm + 2 * room_mm + high - low, 2 * room_mm + front - rear


def _crosses(foot: Marks, frame: _Frame) -> str:
    """Return a cross at each place of the foot, or nothing where none is known."""
    if not foot:
        return ""
    at = [frame.at(x, y) for x, y in foot]
    path = "".join(
        f"M{across - CROSS_MM:.{ROUND_MM}f} {down:.{ROUND_MM}f}h{2 * CROSS_MM}"
        f"M{across:.{ROUND_MM}f} {down - CROSS_MM:.{ROUND_MM}f}v{2 * CROSS_MM}"
        for across, down in at
    )
    return f'<path d="{path}" fill="none" stroke="{FOOT}" stroke-width="{HAIR}"/>'


def _sides(outline: Any, frame: _Frame) -> str:  # noqa: ANN401 - a shapely geometry
    """Return the words that tell the outer side from the inner one, in the corners by the toe."""
    _rear, low, front, high = outline.bounds
    said = ""
    for word, y in (("inner side", low), ("outer side", high)):
        across, down = frame.at(front, y)
        anchor = "start" if across < frame.left_mm else "end"
        said += f'<text x="{across:.1f}" y="{down + 3:.1f}" text-anchor="{anchor}">{word}</text>'
    return said


def _path(outline: Any, frame: _Frame) -> str:  # noqa: ANN401 - a shapely geometry
    return "".join(
        f"M{'L'.join(frame.text(x, y) for x, y in ring.coords[:-1])}Z" for ring in rings_of(outline)
    )


def rings_of(outline: Any) -> Iterator[Any]:  # noqa: ANN401 - a shapely geometry
    """Yield every ring of an outline: the outer edge of each part, then its holes."""
    for part in getattr(outline, "geoms", (outline,)):
        yield part.exterior
        yield from part.interiors


def _lines(shoe: ShoeShape, outline: Any, frame: _Frame) -> str:  # noqa: ANN401 - a shapely geometry
    """Return the centre line, the widest line and the heel line, a little longer than the shoe."""
    rear, low, front, high = outline.bounds
    out = STAND_OUT_MM / 2.0
    crossing = [0.0, shoe.widest_x_mm]
    return f"M{frame.text(rear - out, 0.0)}L{frame.text(front + out, 0.0)}" + "".join(
        f"M{frame.text(x, low - out)}L{frame.text(x, high + out)}" for x in crossing
    )
