"""The outline of a shoe on the ground, by generic trade category and measures.

The shoe's frame: millimetres, seen from above as the shoe lies ground side down; x from the
heel line (through the ends of the branches) to the toe, y to the outer (lateral) side, the
origin in the middle of the heel line. ``length_mm`` is from heel line to toe, so an egg bar and
an open shoe of one size have one length, and the egg bar reaches behind it. ``width_mm`` is at
the widest line, without extensions.

The rim is two half ellipses that meet at the widest line; the hinder one, made whole, is the
egg bar's. Where the widest line stands, how far the heels draw in, and where a frog plate ends
are custom and practice without a source; they are stated as shape parameters.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from referral.errors import Invalid
from referral.shoes.choices import usual_web_mm

POINTS_A_HALF = 256
FARTHEST_MM = 10_000.0
LEAST_GAP_MM = 6.0

DENSITIES_G_CM3 = {"steel": 7.85, "aluminium": 2.70}
"""Handbook values, from memory: carbon steel, wrought aluminium."""

EGGS = frozenset({"egg_bar", "egg_heart", "open_toe_egg_bar"})
STRAIGHT_BARS = frozenset({"straight_bar", "heart_bar", "open_toe_bar", "patten"})
PLATES = frozenset({"heart_bar", "egg_heart"})
OPEN_TOES = frozenset({"open_toe_bar", "open_toe_egg_bar"})
WHOLE = frozenset({"wooden_block", "hospital_plate"})
LOPSIDED = frozenset({"three_quarter", "half_bar", "z_bar", "diagonal_bar"})
"""What is cut away or added on the inner (medial) side only."""


@dataclass(frozen=True, slots=True)
class ToeAndHeel:
    """What the categories leave open, as shares of length or width: custom and practice, no source.

    Every area, its gain and its share behind a line rest on them; pages say so beside the figures.
    """

    widest: float = 0.50
    """The widest line, as a share of the length from the heel line."""
    heels: float = 0.72
    """Width over the ends of the branches, as a share of the width."""
    plate_tip: float = 0.48
    """The point of a frog plate, as a share of the length from the heel line."""
    plate_base: float = 0.33
    """Width of a frog plate at the bar, as a share of the width."""
    open_toe: float = 0.80
    """Where an open toe is cut, as a share of the length from the heel line."""
    squared: float = 0.07
    """How much of the length a squared toe lacks."""


USUAL_SHAPE = ToeAndHeel()


@dataclass(frozen=True, slots=True)
class ShoeShape:
    """A shoe's category and measures, all in millimetres; None where nothing is said."""

    category: str
    length_mm: float
    width_mm: float
    web_mm: float | None = None
    bar_mm: float | None = None
    thickness_mm: float | None = None
    material: str | None = None
    breakover_setback_mm: float = 0.0
    medial_extension_mm: float = 0.0
    lateral_extension_mm: float = 0.0
    shape: ToeAndHeel = USUAL_SHAPE

    @property
    def web(self) -> float:
        """Return the web in millimetres, the usual one where none is said."""
        return self.web_mm if self.web_mm is not None else usual_web_mm(self.category)

    @property
    def bar(self) -> float:
        """Return the width of the bar, in millimetres: the web's where none is said."""
        return self.bar_mm if self.bar_mm is not None else self.web

    @property
    def widest_x_mm(self) -> float:
        """Return where the widest line stands before the heel line."""
        return self.shape.widest * self.length_mm

    @property
    def toe_back_mm(self) -> float:
        """Return how far the shoe's own toe lies behind the trimmed toe: a set-back toe's does."""
        return self.breakover_setback_mm if self.category == "set_back_toe" else 0.0

    @property
    def breakover_x_mm(self) -> float:
        """Return where the ground contact ends at the toe, before the heel line."""
        return self.length_mm + self.toe_back_mm - self.breakover_setback_mm

    @property
    def reach_mm(self) -> float:
        """Return how far an egg bar reaches behind the heel line; other shoes do not."""
        return _rear_axis_mm(self) - self.widest_x_mm if self.category in EGGS else 0.0


@dataclass(frozen=True, slots=True)
class ShoeFacts:
    """What an outline weighs and carries. None where a number cannot be told."""

    area_cm2: float
    ground_cm2: float
    behind_percent: float
    gain_percent: float
    mass_g: float | None
    overall_length_mm: float
    overall_width_mm: float


def outline_of(shoe: ShoeShape) -> Any:  # noqa: ANN401 - shapely is loaded on first use
    """Return the shoe's outline as a shapely polygon (or several) in the shoe's frame, mm.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    _refuse_impossible(shoe)
    return _outline(shoe)


def area_cm2(outline: Any) -> float:  # noqa: ANN401 - a shapely geometry
    """Return the area of an outline."""
    return float(outline.area) / 100.0


def behind_percent(outline: Any, centre_x_mm: float) -> float:  # noqa: ANN401 - likewise
    """Return the share of an outline's area behind a centre, per cent."""
    return 100.0 * float(_strip(outline, -FARTHEST_MM, centre_x_mm).area) / float(outline.area)


def mass_g(shoe: ShoeShape) -> float | None:
    """Return the mass before holes and fuller, or None for what material or thickness is not said.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    density = DENSITIES_G_CM3.get(shoe.material or "")
    if density is None or not shoe.thickness_mm:
        return None
    return density * area_cm2(outline_of(shoe)) * shoe.thickness_mm / 10.0


def gain_percent(shoe: ShoeShape) -> float:
    """Return how much more area the shoe has than the open shoe of its length, width and web.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    plain = ShoeShape("open", shoe.length_mm, shoe.width_mm, shoe.web, shape=shoe.shape)
    return 100.0 * (float(outline_of(shoe).area / outline_of(plain).area) - 1.0)


def facts_of(shoe: ShoeShape, centre_x_mm: float | None = None) -> ShoeFacts:
    """Return what the outline tells; the centre is the widest line if none is given.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    outline = outline_of(shoe)
    left, low, right, high = outline.bounds
    ground = _strip(outline, -FARTHEST_MM, shoe.breakover_x_mm)
    centre = shoe.widest_x_mm if centre_x_mm is None else centre_x_mm
    return ShoeFacts(
        area_cm2=area_cm2(outline),
        ground_cm2=area_cm2(ground),
        behind_percent=behind_percent(outline, centre),
        gain_percent=gain_percent(shoe),
        mass_g=mass_g(shoe),
        overall_length_mm=float(right - left),
        overall_width_mm=float(high - low),
    )


def _refuse_impossible(shoe: ShoeShape) -> None:
    faults: dict[str, list[str]] = {}
    for name in ("length_mm", "width_mm", "web", "bar"):
        if not getattr(shoe, name) > 0 and (name != "bar" or shoe.bar_mm is not None):
            faults[_field(name)] = ["More than nought is needed to draw the shoe."]
    heels = shoe.shape.heels * shoe.width_mm
    if not faults and 2.0 * shoe.web + LEAST_GAP_MM > heels:
        said = f"Two branches of {shoe.web:g} mm do not fit side by side at the heels of a shoe"
        faults["web_mm"] = [f"{said} {shoe.width_mm:g} mm wide."]
    if not faults and max(shoe.web, shoe.bar) > shoe.widest_x_mm / 1.5:
        faults["length_mm"] = ["This is too short for so wide a web or bar."]
    if faults:
        raise Invalid("This shoe cannot be drawn.", faults)


def _field(name: str) -> str:
    return name if name.endswith("_mm") else f"{name}_mm"


@lru_cache(maxsize=64)
def _outline(shoe: ShoeShape) -> Any:  # noqa: ANN401 - as outline_of
    from shapely import affinity, union_all  # noqa: PLC0415 - loaded on first use

    if shoe.category == "reverse":
        turned = affinity.rotate(_branches(shoe), 180, origin=(shoe.length_mm / 2.0, 0.0))
        return affinity.scale(turned, 1.0, -1.0, origin=(0.0, 0.0))
    if shoe.category in WHOLE:
        return _strip(_extended(shoe), 0.0, FARTHEST_MM)
    made = union_all([_branches(shoe), *_additions(shoe)])
    return _cut(shoe, made)


def _branches(shoe: ShoeShape) -> Any:  # noqa: ANN401 - as outline_of
    from shapely import box  # noqa: PLC0415 - loaded on first use

    ring = _extended(shoe).difference(_rim(shoe).buffer(-shoe.web))
    kept = ring if shoe.category in EGGS else _strip(ring, 0.0, FARTHEST_MM)
    free_to = {"three_quarter": 0.6 * shoe.widest_x_mm, "z_bar": _landing_mm(shoe)}
    if shoe.category not in free_to:
        return kept
    return kept.difference(box(-FARTHEST_MM, -FARTHEST_MM, free_to[shoe.category], 0.0))


def _additions(shoe: ShoeShape) -> list[Any]:
    """Return what the category adds to the branches: bars, a frog plate, broad heels."""
    found: list[Any] = []
    rim = _rim(shoe)
    if shoe.category in STRAIGHT_BARS:
        found.append(_strip(rim, 0.0, shoe.bar))
    if shoe.category in EGGS:
        found.append(_strip(rim, -shoe.reach_mm, shoe.bar - shoe.reach_mm))
    if shoe.category in PLATES:
        found.append(_plate(shoe).intersection(rim))
    if shoe.category == "half_bar":
        found.append(_outer(_strip(rim, 0.0, shoe.bar)))
    if shoe.category in {"z_bar", "diagonal_bar"}:
        found.append(_slanting_bar(shoe).intersection(rim))
    if shoe.category == "onion_heel":
        found.append(_broad_heels(shoe))
    return found


def _cut(shoe: ShoeShape, made: Any) -> Any:  # noqa: ANN401 - as outline_of
    """Return the outline without what the category leaves away at the toe, or behind it."""
    if shoe.category in OPEN_TOES:
        return _strip(made, -FARTHEST_MM, shoe.shape.open_toe * shoe.length_mm)
    if shoe.category == "set_back_toe":
        return _strip(made, -FARTHEST_MM, shoe.length_mm)
    if shoe.category == "tip":
        return _strip(made, shoe.widest_x_mm, FARTHEST_MM)
    return made


@lru_cache(maxsize=64)
def _rim(shoe: ShoeShape) -> Any:  # noqa: ANN401 - as outline_of
    """Return the whole egg: the front half ellipse, and the hinder one made whole."""
    return _egg(shoe, shoe.width_mm / 2.0, shoe.width_mm / 2.0)


def _extended(shoe: ShoeShape) -> Any:  # noqa: ANN401 - as outline_of
    half = shoe.width_mm / 2.0
    return _egg(shoe, half + shoe.medial_extension_mm, half + shoe.lateral_extension_mm)


def _egg(shoe: ShoeShape, inner_mm: float, outer_mm: float) -> Any:  # noqa: ANN401 - as outline_of
    from shapely import Polygon  # noqa: PLC0415 - loaded on first use

    squared = shoe.shape.squared if shoe.category == "set_back_toe" else 0.0
    front = shoe.length_mm * (1.0 + squared) - shoe.widest_x_mm
    rear = _rear_axis_mm(shoe)
    points = []
    for step in range(2 * POINTS_A_HALF):
        angle = math.pi * step / POINTS_A_HALF
        along, across = math.cos(angle), math.sin(angle)
        x = shoe.widest_x_mm + along * (front if along > 0 else rear)
        points.append((x, across * (outer_mm if across > 0 else inner_mm)))
    return Polygon(points)


def _rear_axis_mm(shoe: ShoeShape) -> float:
    """Return the hinder half axis with which the rim passes through the ends of the branches."""
    return shoe.widest_x_mm / math.sqrt(1.0 - shoe.shape.heels**2)


def _strip(shape: Any, from_x_mm: float, to_x_mm: float) -> Any:  # noqa: ANN401 - as outline_of
    from shapely import box  # noqa: PLC0415 - loaded on first use

    return shape.intersection(box(from_x_mm, -FARTHEST_MM, to_x_mm, FARTHEST_MM))


def _outer(shape: Any) -> Any:  # noqa: ANN401 - as outline_of
    from shapely import box  # noqa: PLC0415 - loaded on first use

    return shape.intersection(box(-FARTHEST_MM, 0.0, FARTHEST_MM, FARTHEST_MM))


def _plate(shoe: ShoeShape) -> Any:  # noqa: ANN401 - as outline_of
    """Return the frog plate: from the bar to its rounded point."""
    from shapely import Point, box, union_all  # noqa: PLC0415 - loaded on first use

    half = shoe.shape.plate_base * shoe.width_mm / 2.0
    tip_radius = 0.05 * shoe.width_mm
    tip = Point(shoe.shape.plate_tip * shoe.length_mm - tip_radius, 0.0).buffer(tip_radius)
    front = shoe.bar - shoe.reach_mm
    return union_all([box(front - 1.0, -half, front, half), tip]).convex_hull


def _landing_mm(shoe: ShoeShape) -> float:
    """Return where a slanting bar comes to the inner branch."""
    return 0.7 * shoe.widest_x_mm


def _slanting_bar(shoe: ShoeShape) -> Any:  # noqa: ANN401 - as outline_of
    """Return the bar from the outer heel to the inner branch further forward."""
    from shapely import LineString  # noqa: PLC0415 - loaded on first use

    heel = (shoe.bar / 2.0, shoe.shape.heels * shoe.width_mm / 2.0 - shoe.web / 2.0)
    branch = (_landing_mm(shoe) + shoe.bar / 2.0, -(shoe.width_mm - shoe.web) / 2.0)
    bar = LineString([heel, branch]).buffer(shoe.bar / 2.0, cap_style="square")
    return _strip(bar, 0.0, FARTHEST_MM)


def _broad_heels(shoe: ShoeShape) -> Any:  # noqa: ANN401 - as outline_of
    """Return the heels half as broad again as the web, over the seat of corn."""
    from shapely import Point, affinity, union_all  # noqa: PLC0415 - loaded on first use

    middle_y = shoe.shape.heels * shoe.width_mm / 2.0 - 0.75 * shoe.web
    seat = affinity.scale(Point(0.0, 0.0).buffer(0.75 * shoe.web), 1.2, 1.0)
    both = [affinity.translate(seat, 0.8 * shoe.web, side * middle_y) for side in (-1.0, 1.0)]
    return _strip(union_all(both).intersection(_rim(shoe)), 0.0, FARTHEST_MM)
