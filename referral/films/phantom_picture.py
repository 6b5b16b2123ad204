"""Rings of a foot to stored grey values: how much each pixel's ray is held back."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from referral.core.geometry.points import Floats
from referral.films.phantom_foot import Foot, Frame
from referral.films.phantom_outlines import MARKER_HALF_WIDTH_MM, bar, bones, ground, horn, skin

Picture = NDArray[np.float32]

SUBROWS = 2
SCATTER_MM = 14.0
SCATTER = 0.05
CONTRAST = 1.5
AIR = 0.045
TOP = 0.985
BONE_EDGE = 0.7
RIM_MM = 1.8
DOME_OF_FLESH_MM = 13.0
BOX_MARGIN_MM = 9.0
COARSE_PX = 24
"""A blur that reaches so many pixels is made on a coarser grid."""

THICKNESS = {"p3": 0.34, "wing": 0.05, "navicular": 0.2, "p2": 0.42, "p1": 0.42}
DOME_MM = {"p3": 7.0, "wing": 3.0, "navicular": 3.0, "p2": 6.0, "p1": 6.0}


@dataclass(frozen=True, slots=True)
class Sight:
    """How the foot frame lies on the film: mm a pixel at the foot, and where its origin is."""

    row_mm: float
    column_mm: float
    origin_px: tuple[float, float]
    size_px: tuple[int, int]
    mirrored: bool

    def to_px(self, points_mm: Floats) -> Floats:
        """Return foot-frame points, (..., 2) mm, as pixels x, y of the film."""
        x = self.origin_px[0] + points_mm[..., 0] / self.column_mm
        y = self.origin_px[1] - points_mm[..., 1] / self.row_mm
        return np.stack([self.size_px[0] - 1 - x if self.mirrored else x, y], axis=-1)


def expose(
    foot: Foot,
    frame: Frame,
    marker_mm: Floats,
    sight: Sight,
    *,
    bits: int,
    noise: float,
    rng: np.random.Generator,
) -> NDArray[np.uint16]:
    """Return the film's stored values, bone bright, (height, width), in so many bits."""
    plain = replace(sight, mirrored=False)
    shade = _soft_parts(foot, frame, plain)
    for name, ring in bones(foot, frame).items():
        _add_bone(shade, name, ring, plain, rng)
    shade = _softened(shade)
    shade += np.float32(SCATTER) * _blurred(shade, plain, SCATTER_MM)
    shade = 1.0 - np.exp(np.float32(-CONTRAST) * shade)
    metal = filled(ground()["wire"], plain) * np.float32(0.94)
    rod = bar(marker_mm[0], marker_mm[1], MARKER_HALF_WIDTH_MM)
    metal = np.maximum(metal, filled(rod, plain))
    level = AIR + np.float32(TOP - AIR) * np.maximum(shade, metal)
    grain = rng.standard_normal(shade.shape, dtype=np.float32)
    level += np.float32(0.008 * noise) * grain * (1.2 - level)
    top = (1 << bits) - 1
    words = np.rint(np.clip(level, 0.0, 1.0) * np.float32(top)).astype(np.uint16)
    return np.ascontiguousarray(words[:, ::-1]) if sight.mirrored else words


def _soft_parts(foot: Foot, frame: Frame, sight: Sight) -> Picture:
    rings = horn(foot, frame)
    capsule = filled(rings["capsule"], sight)
    solid = filled(rings["solid"], sight)
    dense = _blurred(filled(rings["dense"], sight), sight, 1.2) * capsule
    pastern = filled(skin(foot, frame), sight)
    body = np.maximum(solid, pastern)
    domed = _blurred(body, sight, DOME_OF_FLESH_MM) * body
    hoof = _blurred(capsule, sight, 3.0) * np.maximum(capsule, pastern)
    shade = np.float32(0.13) * hoof + np.float32(0.09) * dense + np.float32(0.04) * body
    shade += np.float32(0.34) * domed**3
    return np.asarray(shade + np.float32(0.3) * filled(ground()["block"], sight), np.float32)


def _add_bone(
    shade: Picture, name: str, ring: Floats, sight: Sight, rng: np.random.Generator
) -> None:
    """Add one bone: a dome of spongy bone inside a bright rim, within its own box."""
    box, near = _box(ring, sight)
    inside = filled(ring, near)
    if not inside.size:
        return
    dome = np.clip(2.0 * _blurred(inside, near, DOME_MM[name]) - 1.0, 0.0, 1.0)
    rim = np.clip(inside - _blurred(inside, near, RIM_MM), 0.0, 1.0)
    weight = np.float32(THICKNESS[name])
    spongy = inside * (0.5 + 0.5 * dome) * (1.0 + np.float32(0.05) * _web(near, rng))
    shade[box] += weight * spongy + np.float32(BONE_EDGE) * weight * rim


def _box(ring: Floats, sight: Sight) -> tuple[tuple[slice, slice], Sight]:
    """Return the part of the film that a ring lies in, and how the foot lies on that part."""
    points = sight.to_px(ring)
    margin = BOX_MARGIN_MM / min(sight.row_mm, sight.column_mm)
    low = np.clip(np.floor(points.min(axis=0) - margin), 0, sight.size_px).astype(int)
    high = np.clip(np.ceil(points.max(axis=0) + margin), 0, sight.size_px).astype(int)
    origin = (sight.origin_px[0] - float(low[0]), sight.origin_px[1] - float(low[1]))
    size = (int(high[0] - low[0]), int(high[1] - low[1]))
    box = (slice(low[1], high[1]), slice(low[0], high[0]))
    return box, replace(sight, origin_px=origin, size_px=size)


def _web(sight: Sight, rng: np.random.Generator) -> Picture:
    coarse = rng.standard_normal(sight.size_px[::-1], dtype=np.float32)
    cloud = _blurred(coarse, sight, 0.9)
    return np.asarray(cloud / max(float(cloud.std()), 1e-6), np.float32)


def filled(ring_mm: Floats, sight: Sight) -> Picture:
    """Return the share of each pixel that lies inside a ring, 0 to 1, (height, width).

    Each edge adds its crossing of every row to a running sum along it, so a pixel that the
    edge cuts is shared by where it is cut.
    """
    width, height = sight.size_px
    ring = sight.to_px(ring_mm)
    following = np.roll(ring, -1, axis=0)
    total = np.zeros((height, width + 2), np.float32)
    rows = np.arange(height)
    for place in range(SUBROWS):
        level = rows + (place + 0.5) / SUBROWS - 0.5
        for first, second in zip(ring, following, strict=True):
            _add_edge(total, level, first, second)
    inside = np.cumsum(total[:, :width], axis=1) / SUBROWS
    return np.asarray(np.minimum(np.abs(inside), 1.0), np.float32)


def _add_edge(total: Picture, level: NDArray[np.floating], first: Floats, second: Floats) -> None:
    if first[1] == second[1]:
        return
    low, high = sorted((float(first[1]), float(second[1])))
    start, stop = np.searchsorted(level, [low, high])
    if start == stop:
        return
    share = (level[start:stop] - first[1]) / (second[1] - first[1])
    x = first[0] + share * (second[0] - first[0]) + 0.5
    x = np.clip(x, 0.0, total.shape[1] - 1.001)
    column = x.astype(np.intp)
    part = (x - column).astype(np.float32)
    sign = np.float32(1.0 if second[1] > first[1] else -1.0)
    row = np.arange(start, stop)
    total[row, column] += sign * (1.0 - part)
    total[row, column + 1] += sign * part


def _blurred(picture: Picture, sight: Sight, reach_mm: float) -> Picture:
    """Return the picture softened over a reach: two running means each way."""
    reach = (max(round(reach_mm / sight.row_mm), 1), max(round(reach_mm / sight.column_mm), 1))
    if min(reach) < COARSE_PX or min(picture.shape) < COARSE_PX:
        return _mean_around(_mean_around(picture, reach), reach)
    step = min(reach) // 8
    height, width = picture.shape
    edges = ((0, -height % step), (0, -width % step))
    whole = np.pad(picture, edges, mode="edge")
    blocks = whole.reshape(whole.shape[0] // step, step, whole.shape[1] // step, step)
    small = blocks.mean(axis=(1, 3))
    less = (reach[0] // step, reach[1] // step)
    small = _mean_around(_mean_around(small, less), less)
    large = small.repeat(step, axis=0).repeat(step, axis=1)[:height, :width]
    return _mean_around(large, (step, step))


def _mean_around(picture: Picture, reach: tuple[int, int]) -> Picture:
    for axis in (0, 1):
        half = reach[axis] // 2
        if half == 0:
            continue
        edges = [(0, 0), (0, 0)]
        edges[axis] = (half + 1, half)
        span = 2 * half + 1
        sums = np.cumsum(np.pad(picture, edges, mode="edge"), axis=axis, dtype=np.float32)
        ahead = sums[span:] if axis == 0 else sums[:, span:]
        behind = sums[:-span] if axis == 0 else sums[:, :-span]
        picture = (ahead - behind) * np.float32(1.0 / span)
    return picture


def _softened(picture: Picture) -> Picture:
    """Return the picture with its edges softened by a pixel each way, by 1 : 2 : 1."""
    for axis in (0, 1):
        edges = [(0, 0), (0, 0)]
        edges[axis] = (1, 1)
        wide = np.pad(picture, edges, mode="edge")
        before, after = (wide[:-2], wide[2:]) if axis == 0 else (wide[:, :-2], wide[:, 2:])
        picture = np.float32(0.25) * (before + after) + np.float32(0.5) * picture
    return picture
