"""One reading over the visits as an SVG line chart, for pages and for sheets.

Points with bars of U = 2u, the band that the limit allows, a mark at each reset, and where there
are enough points the weighted line through them between its own bounds of U.
No script, no style sheet: the same markup stands on a page and in a PDF.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType

from markupsafe import Markup, escape

from referral.core.trend.line import Line, line_through
from referral.core.trend.series import Point
from referral.web.written import day, number, quantity, with_u

WIDTH, HEIGHT = 400.0, 230.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 392.0, 20.0, 180.0
INK, QUIET, GRID, LINE, ALLOWED, LIMIT = (
    "#14191f", "#3a434c", "#d5d0c2", "#0b4453", "#e1efe4", "#0b4d30",
)  # fmt: skip
HALF_A_DAY_WORDS = 38
HALF_A_RESET_WORDS = 25
VALUE_WORDS = 36
"""How much room a text takes, on this drawing's scale."""

MOST_STEPS = 5
LINE_STEPS = 16
LEAST_SPAN = 1.0
NICE = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class VisitPoint:
    """A reading of one visit with its standard uncertainty (k = 1)."""

    on: date
    value: float
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class _Plot:
    """Where days and values lie on the drawing."""

    first: date
    days: int
    low: float
    high: float

    def x(self, on: date) -> float:
        return LEFT + 12 + (RIGHT - LEFT - 24) * (on - self.first).days / self.days

    def y(self, value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value - self.low) / (self.high - self.low)


def line_chart(
    code: str,
    name: str,
    unit: str,
    points: Sequence[VisitPoint],
    *,
    at_least: float | None = None,
    at_most: float | None = None,
    resets: Mapping[int, date] = MappingProxyType({}),
) -> Markup:
    """Return the chart; ``code`` makes its ids, so it must be its own on a page.

    ``resets`` are the days of the limb's resets by their numbers on the case.

    Raises
    ------
    ValueError
        If there is no point.
    """
    if not points:
        raise ValueError("a chart needs at least one point")
    ordered = sorted(points, key=lambda point: point.on)
    plot = _plot(
        ordered, [limit for limit in (at_least, at_most) if limit is not None], resets.values()
    )
    parts = [
        *_band(plot, at_least, at_most),
        *_grid(plot, unit),
        *_resets(plot, resets),
        *_fitted(plot, ordered),
        *_series(plot, ordered),
        *_days(plot, ordered),
    ]
    at = escape(f"chart-{code}")
    return Markup(  # noqa: S704 - every text in it is escaped where it is put in
        '<svg xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" aria-labelledby="{at} {at}-says" '
        'font-family="\'Noto Sans\',system-ui,sans-serif" font-size="12.5">'
        f'<title id="{at}">{escape(name)} over the visits</title>'
        f'<desc id="{at}-says">{escape(_said(ordered, unit, at_least, at_most))}</desc>'
        f"{''.join(parts)}</svg>"
    )


def _said(
    points: Sequence[VisitPoint], unit: str, at_least: float | None, at_most: float | None
) -> str:
    visits = "; ".join(f"{day(point.on)}: {with_u(point.value, point.u, unit)}" for point in points)
    limits = [
        f"{words} {quantity(limit, unit)}"
        for words, limit in (("at least", at_least), ("at most", at_most))
        if limit is not None
    ]
    return f"{visits}. Limit: {' and '.join(limits)}." if limits else f"{visits}. No limit."


def _plot(points: Sequence[VisitPoint], limits: Sequence[float], resets: Iterable[date]) -> _Plot:
    days = [point.on for point in points] + list(resets)
    lows = [point.value - 2 * point.u for point in points] + list(limits)
    highs = [point.value + 2 * point.u for point in points] + list(limits)
    low, high = min(lows), max(highs)
    room = max(high - low, LEAST_SPAN) * 0.12
    first, last = min(days), max(days)
    if first == last:
        first, last = first - timedelta(days=1), last + timedelta(days=1)
    return _Plot(first, (last - first).days, low - room, high + room)


def _band(plot: _Plot, at_least: float | None, at_most: float | None) -> Iterator[str]:
    if at_least is None and at_most is None:
        return
    top = TOP if at_most is None else plot.y(at_most)
    bottom = BOTTOM if at_least is None else plot.y(at_least)
    yield (
        f'<rect x="{LEFT}" y="{top:.1f}" width="{RIGHT - LEFT}" '
        f'height="{max(bottom - top, 0):.1f}" fill="{ALLOWED}"/>'
    )
    said = []
    for limit, words in ((at_least, "at least"), (at_most, "at most")):
        if limit is not None:
            y = plot.y(limit)
            yield _line(LEFT, y, RIGHT, y, LIMIT, 1.5, "6 3")
            said.append(f"{words} {number(limit)}")
    # over the plot, where no bar of any visit runs through the words
    yield _text(RIGHT, TOP - 6, ", ".join(said), "end", LIMIT)


def _grid(plot: _Plot, unit: str) -> Iterator[str]:
    step = _step(plot.high - plot.low)
    decimals = 0 if step >= 1 and step.is_integer() else 1 if step >= 0.1 else 2  # noqa: PLR2004 - a tenth
    for turn in range(math.ceil(plot.low / step), math.floor(plot.high / step) + 1):
        y = plot.y(turn * step)
        yield _line(LEFT, y, RIGHT, y, GRID, 0.7)
        yield _text(LEFT - 5, y + 4, number(turn * step, decimals), "end", QUIET)
    yield _text(
        LEFT - 5, TOP - 6, {"deg": "°", "percent": "%", "ratio": ""}.get(unit, unit), "end", QUIET
    )
    yield _line(LEFT, BOTTOM, RIGHT, BOTTOM, INK, 1.2)


def _step(span: float) -> float:
    rough = span / MOST_STEPS
    power = 10.0 ** math.floor(math.log10(rough))
    return next(nice * power for nice in NICE if nice * power >= rough)


def _resets(plot: _Plot, resets: Mapping[int, date]) -> Iterator[str]:
    """Yield a mark at each reset, and its number where that does not run into the one before."""
    free_from = -math.inf
    for n, on in sorted(resets.items(), key=lambda each: (each[1], each[0])):
        x = plot.x(on)
        yield _line(x, TOP, x, BOTTOM, QUIET, 0.9, "1.5 3")
        yield f'<path d="M{x - 4:.1f} {BOTTOM + 7:.1f}l4-7 4 7z" fill="{QUIET}"/>'
        middle = min(x, WIDTH - HALF_A_RESET_WORDS)
        if middle - HALF_A_RESET_WORDS >= free_from:
            yield _text(middle, HEIGHT - 4, f"reset {n}", "middle", QUIET)
            free_from = middle + HALF_A_RESET_WORDS


def _fitted(plot: _Plot, points: Sequence[VisitPoint]) -> Iterator[str]:
    """Yield the weighted line from the first to the last point, and its bounds of U beside it."""
    line = line_through([Point(each.on, each.value, each.u) for each in points])
    if line is None:
        return
    for sides, width, dashes in ((0.0, 1.2, "7 4"), (-2.0, 0.9, "1 3"), (2.0, 0.9, "1 3")):
        places = " ".join(_along(plot, line, (points[0].on, points[-1].on), sides))
        yield (
            f'<polyline class="fitted" points="{places}" fill="none" stroke="{QUIET}" '
            f'stroke-width="{width}" stroke-dasharray="{dashes}"/>'
        )


def _along(plot: _Plot, line: Line, ends: tuple[date, date], sides: float) -> Iterator[str]:
    """Yield places of a line, so many u beside it, kept within the drawing."""
    first, last = ends
    for step in range(LINE_STEPS + 1):
        on = first + (last - first) * step / LINE_STEPS
        value, u = line.at(on)
        y = min(max(plot.y(value + sides * u), TOP), BOTTOM)
        yield f"{plot.x(on):.1f},{y:.1f}"


def _series(plot: _Plot, points: Sequence[VisitPoint]) -> Iterator[str]:
    path = " ".join(f"{plot.x(point.on):.1f},{plot.y(point.value):.1f}" for point in points)
    yield f'<polyline points="{path}" fill="none" stroke="{LINE}" stroke-width="2"/>'
    for point in points:
        x, low, high = plot.x(point.on), point.value - 2 * point.u, point.value + 2 * point.u
        if point.u:
            ends = (plot.y(low), plot.y(high))
            caps = "".join(f"M{x - 4:.1f} {y:.1f}h8" for y in ends)
            bar = f"M{x:.1f} {ends[0]:.1f}V{ends[1]:.1f}{caps}"
            yield f'<path d="{bar}" fill="none" stroke="{LINE}" stroke-width="1.4"/>'
        yield (
            f'<circle cx="{x:.1f}" cy="{plot.y(point.value):.1f}" r="4" fill="#fff" '
            f'stroke="{LINE}" stroke-width="2"/>'
        )
    yield from _values(plot, points)


def _values(plot: _Plot, points: Sequence[VisitPoint]) -> Iterator[str]:
    """Yield the values beside their points, leaving out those that another visit would cross."""
    at = [plot.x(point.on) for point in points]
    for point, before, x, after in zip(
        points, (-math.inf, *at), at, (*at[1:], math.inf), strict=False
    ):
        at_end = x > RIGHT - HALF_A_DAY_WORDS
        if (x - before if at_end else after - x) >= VALUE_WORDS:
            anchor, aside = ("end", -7) if at_end else ("start", 7)
            yield _text(x + aside, plot.y(point.value) - 6, number(point.value), anchor, INK)


def _days(plot: _Plot, points: Sequence[VisitPoint]) -> Iterator[str]:
    """Yield the days under the axis, leaving out those that would run into the one before."""
    free_from = -math.inf
    for point in points:
        x = plot.x(point.on)
        anchor = "end" if x + HALF_A_DAY_WORDS > WIDTH else "middle"
        if x - HALF_A_DAY_WORDS * (2 if anchor == "end" else 1) >= free_from:
            yield _text(min(x, WIDTH - 2), BOTTOM + 22, day(point.on), anchor, INK)
            free_from = x + HALF_A_DAY_WORDS


def _line(
    x1: float, y1: float, x2: float, y2: float, colour: str, width: float, dashes: str = ""
) -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" '
        f'stroke-width="{width}"{dashed}/>'
    )


def _text(x: float, y: float, words: str, anchor: str, colour: str) -> str:
    anchored = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{x:.1f}" y="{y:.1f}"{anchored} fill="{colour}">{escape(words)}</text>'
