"""One wedge's window as a drawing: heel trim across, toe trim upward, where every limit is met."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from markupsafe import Markup, escape

from referral.core.rules.outline import Ring
from referral.core.rules.region import Region

WIDTH, HEIGHT = 250.0, 240.0
LEFT, RIGHT, TOP, BOTTOM = 38.0, 240.0, 12.0, 198.0
MOST_MM = 10.0
EVERY_MM = 2
INK, QUIET, GRID, INSIDE, EDGE, CLOSE = (
    "#14191f", "#3a434c", "#d5d0c2", "#a9d8b4", "#0b4d30", "#8a5a00",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mark:
    """A plan on the drawing, in mm off heels and toe; a ring is the one that is proposed."""

    words: str
    heel_mm: float
    toe_mm: float
    ring: bool = False


def region_svg(code: str, name: str, region: Region, marks: Sequence[Mark]) -> Markup:
    """Return the drawing; ``code`` makes its ids, so it must be its own on a page."""
    at = escape(f"window-{code}")
    parts = [
        *_shapes(region.close_outline_mm, f"url(#{at}-hatch)", CLOSE),
        *_shapes(region.outline_mm, INSIDE, EDGE),
        *_axes(),
        *_marks(marks),
    ]
    return Markup(  # noqa: S704 - every text in it is escaped where it is put in
        '<svg xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" aria-labelledby="{at} {at}-says" '
        'font-family="\'Noto Sans\',system-ui,sans-serif" font-size="12">'
        f'<title id="{at}">{escape(name)}</title>'
        f'<desc id="{at}-says">{escape(_said(region))}</desc>'
        f'<defs><pattern id="{at}-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="6" height="6" fill="#fff7e0"/>'
        f'<path d="M0 0V6" stroke="{CLOSE}" stroke-width="1.6"/></pattern></defs>'
        f"{''.join(parts)}</svg>"
    )


def _said(region: Region) -> str:
    if region.heel_trim_mm is None or region.toe_trim_mm is None:
        return "No trim meets every limit; some are too close to a limit to call."
    heel, toe = region.heel_trim_mm, region.toe_trim_mm
    return (
        f"Every limit is met within {heel[0]:g} to {heel[1]:g} mm off the heels and "
        f"{toe[0]:g} to {toe[1]:g} mm off the toe, as far as the outline goes."
    )


def _x(heel_mm: float) -> float:
    return LEFT + (RIGHT - LEFT) * min(max(heel_mm, 0.0), MOST_MM) / MOST_MM


def _y(toe_mm: float) -> float:
    return BOTTOM - (BOTTOM - TOP) * min(max(toe_mm, 0.0), MOST_MM) / MOST_MM


def _shapes(rings: Sequence[Ring], fill: str, stroke: str) -> Iterator[str]:
    if not rings:
        return
    path = "".join(map(_ring, rings))
    yield (
        f'<path d="{path}" fill="{fill}" fill-rule="evenodd" stroke="{stroke}" stroke-width="1.4"/>'
    )


def _ring(ring: Ring) -> str:
    """Return a ring's path: its edges run along the axes, so that each names one number."""
    heel, toe = ring[0]
    steps = [f"M{_x(heel):.1f} {_y(toe):.1f}"]
    for before, after in pairwise(ring):
        along = before[0] != after[0]
        steps.append(f"H{_x(after[0]):.1f}" if along else f"V{_y(after[1]):.1f}")
    return "".join([*steps, "Z"])


def _axes() -> Iterator[str]:
    for mm in range(0, int(MOST_MM) + 1, EVERY_MM):
        x, y = _x(mm), _y(mm)
        yield f'<path d="M{x:.1f} {TOP}V{BOTTOM}M{LEFT} {y:.1f}H{RIGHT}" stroke="{GRID}"/>'
        yield _text(x, BOTTOM + 15, str(mm), "middle", QUIET)
        yield _text(LEFT - 5, y + 4, str(mm), "end", QUIET)
    frame = f"M{LEFT} {TOP}V{BOTTOM}H{RIGHT}"
    yield f'<path d="{frame}" fill="none" stroke="{INK}" stroke-width="1.3"/>'
    yield _text((LEFT + RIGHT) / 2, HEIGHT - 8, "mm off the heels", "middle", INK)
    yield (
        f'<text transform="translate(11 {(TOP + BOTTOM) / 2:.0f}) rotate(-90)" '
        f'text-anchor="middle" fill="{INK}">mm off the toe</text>'
    )


def _marks(marks: Sequence[Mark]) -> Iterator[str]:
    for each in marks:
        x, y = _x(each.heel_mm), _y(each.toe_mm)
        fill = "#fff" if each.ring else INK
        at = f'cx="{x:.1f}" cy="{y:.1f}" r="5"'
        yield f'<circle {at} fill="{fill}" stroke="{INK}" stroke-width="2"/>'
        end = x > (LEFT + RIGHT) / 2
        words = "end" if end else "start"
        yield _text(x + (-8 if end else 8), y - 7, each.words, words, INK)


def _text(x: float, y: float, words: str, anchor: str, colour: str) -> str:
    at = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {at} fill="{colour}">{escape(words)}</text>'
