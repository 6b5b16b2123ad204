"""A drawn photo of a sole of known dimensions, with a ruler beside it, for the demo and tests.

No photo of a horse: an outline filled in. Toe up; the foot's middle line stands upright in the
middle of the picture. Whatever is drawn lies where its landmark says, to a fraction of a pixel.
"""

import io
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

SIZE_PX = (1200, 1500)
MM_A_PIXEL = 0.2
HEELS_AT_PX = (660.0, 1120.0)
RULER_AT_PX = (120.0, 1180.0)
RULER_MM = 100.0
DRAWN_LARGER = 2
ARC_STEPS = 60
QUALITY = 90
FLOOR, HORN, SOLE, LINE, FROG, GROOVE, RULER, TICK = (
    "#8d8a84", "#4a3f36", "#b9a68c", "#d8cbb4", "#6b5a4d", "#54463b", "#e6d9a2", "#22211f",
)  # fmt: skip
NOISE = 7.0


@dataclass(frozen=True, slots=True)
class Sole:
    """A foot's ground surface in millimetres; places along it count from the heels to the toe."""

    length_mm: float = 134.0
    width_mm: float = 129.0
    widest_mm: float = 58.0
    heels_mm: float = 78.0
    frog_length_mm: float = 82.0
    frog_width_mm: float = 58.0
    frog_widest_mm: float = 2.0
    flare_mm: float = 0.0
    """How much further the outer wall stands out at the widest part."""


@dataclass(frozen=True, slots=True)
class SolePhoto:
    """The picture and where each landmark stands on it, and the length from scale A to scale B."""

    jpeg: bytes
    landmarks_px: Mapping[str, list[float]]
    known_length_mm: float


def draw_sole(sole: Sole, *, lateral_right: bool = True, seed: int = 1) -> SolePhoto:
    """Return a photo of a sole, its outer side to the right or to the left."""
    side = 1.0 if lateral_right else -1.0
    size = (SIZE_PX[0] * DRAWN_LARGER, SIZE_PX[1] * DRAWN_LARGER)
    picture = Image.new("RGB", size, FLOOR)
    draw = ImageDraw.Draw(picture)
    for share, colour in ((1.0, HORN), (0.9, LINE), (0.87, SOLE)):
        draw.polygon(_drawn(_rim(sole, share), side), fill=colour)
    draw.polygon(_drawn(_frog(sole), side), fill=FROG)
    groove = [(sole.frog_widest_mm, 0.0), (sole.frog_widest_mm + 0.45 * sole.frog_length_mm, 0.0)]
    draw.line(_drawn(groove, side), fill=GROOVE, width=5 * DRAWN_LARGER)
    _draw_ruler(draw)
    landmarks = {name: list(_px(at, side)) for name, at in _landmarks(sole).items()}
    x, y = RULER_AT_PX
    landmarks |= {"scale_a": [x, y], "scale_b": [x, y - RULER_MM / MM_A_PIXEL]}
    return SolePhoto(_jpeg(picture, seed), landmarks, RULER_MM)


def _landmarks(sole: Sole) -> dict[str, tuple[float, float]]:
    half, heel = sole.width_mm / 2.0, sole.heels_mm / 2.0
    frog = sole.frog_widest_mm
    return {
        "toe": (sole.length_mm, 0.0),
        "widest_medial": (sole.widest_mm, -half),
        "widest_lateral": (sole.widest_mm, half + sole.flare_mm),
        "heel_medial": (0.0, -heel),
        "heel_lateral": (0.0, heel),
        "frog_apex": (frog + sole.frog_length_mm, 0.0),
        "frog_widest_medial": (frog, -sole.frog_width_mm / 2.0),
        "frog_widest_lateral": (frog, sole.frog_width_mm / 2.0),
        "frog_widest_level": (frog, 0.0),
    }


def _rim(sole: Sole, share: float) -> list[tuple[float, float]]:
    """Return the wall's edge, or a line within it: two half ellipses that meet at the widest."""
    front = sole.length_mm - sole.widest_mm
    rear = sole.widest_mm / math.sqrt(1.0 - (sole.heels_mm / sole.width_mm) ** 2)
    ends = math.acos(-sole.widest_mm / rear)
    ring = []
    for turn in np.linspace(-ends, ends, 2 * ARC_STEPS):
        along, across = math.cos(turn), math.sin(turn)
        half = sole.width_mm / 2.0 + (sole.flare_mm * across**2 if across > 0 else 0.0)
        x = sole.widest_mm + along * (front if along > 0 else rear) * share
        ring.append((x, across * half * share))
    return ring


def _frog(sole: Sole) -> list[tuple[float, float]]:
    half, rear = sole.frog_width_mm / 2.0, sole.frog_widest_mm
    tip = rear + sole.frog_length_mm
    bulb = rear - 0.2 * sole.frog_width_mm
    return [
        (tip, 0.0), (tip - 6.0, 4.0), (rear + 4.0, half - 1.0), (rear, half), (bulb, 0.7 * half),
        (bulb + 4.0, 0.0), (bulb, -0.7 * half), (rear, -half), (rear + 4.0, 1.0 - half),
        (tip - 6.0, -4.0),
    ]  # fmt: skip


def _draw_ruler(draw: ImageDraw.ImageDraw) -> None:
    x, y = (each * DRAWN_LARGER for each in RULER_AT_PX)
    step = 10.0 / MM_A_PIXEL * DRAWN_LARGER
    wide, over = 70 * DRAWN_LARGER, 30 * DRAWN_LARGER
    top = y - RULER_MM / 10.0 * step
    draw.rectangle((x - wide / 2, top - over, x + wide / 2, y + over), fill=RULER, outline=TICK)
    for tick in range(int(RULER_MM / 10.0) + 1):
        reach = wide / 2 if tick % 5 == 0 else wide / 4
        at = y - tick * step
        draw.line((x - reach, at, x + reach, at), fill=TICK, width=2 * DRAWN_LARGER)


def _px(at: tuple[float, float], side: float) -> tuple[float, float]:
    along, across = at
    return (
        round(HEELS_AT_PX[0] + side * across / MM_A_PIXEL, 2),
        round(HEELS_AT_PX[1] - along / MM_A_PIXEL, 2),
    )


def _drawn(ring: list[tuple[float, float]], side: float) -> list[tuple[float, float]]:
    return [(x * DRAWN_LARGER, y * DRAWN_LARGER) for x, y in (_px(at, side) for at in ring)]


def _jpeg(picture: Image.Image, seed: int) -> bytes:
    small = picture.filter(ImageFilter.GaussianBlur(1.0)).resize(SIZE_PX)
    rough = np.random.default_rng(seed).normal(0.0, NOISE, (*SIZE_PX[::-1], 1))
    greyed = np.clip(np.asarray(small, np.float64) + rough, 0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(greyed).save(out, "JPEG", quality=QUALITY)
    return out.getvalue()
