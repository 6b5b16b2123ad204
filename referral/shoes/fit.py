"""How a shoe lies on a foot, and which shoe of the stock needs the least alteration.

The foot is drawn as a shoe's rim is: its own length and width, heels as wide as an open shoe's
of that size. The shoe lies with its toe flush with the trimmed toe; a set-back toe, as far
behind it as its breakover is.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, TypeVar

from referral.shoes.outline import EGGS, OPEN_TOES, USUAL_SHAPE, ShoeShape, ToeAndHeel, outline_of

T = TypeVar("T")
WALL_MM = 10.0
"""The strip of horn at a heel that must lie on the shoe; custom and practice, no source."""
SAME_MM = 1.0
TOLERANCE_MM = 2.0
"""Agreed tolerance of lengths, as for fitted against planned; custom and practice."""
MOST_SET_MM = 10.0
"""How far a shoe is opened or closed before the next size is the better choice; no source."""
USUAL_EXTENSION_MM = 8.0
"""About a shoe's thickness, as classic texts on a regular foot have it."""
TIE = 1e-9


@dataclass(frozen=True, slots=True)
class Foot:
    """A trimmed foot's ground surface in millimetres, and how far a shoe is to reach behind it."""

    length_mm: float
    width_mm: float
    heel_extension_mm: float = USUAL_EXTENSION_MM
    shape: ToeAndHeel = USUAL_SHAPE


@dataclass(frozen=True, slots=True)
class HeelCover:
    """One heel of the trimmed foot: whether the shoe carries it, and how far it stands out."""

    side: str
    outer_edge: bool
    inner_edge: bool
    overhang_mm: float

    @property
    def is_covered(self) -> bool:
        """Say whether the wall's whole breadth at this heel lies on the shoe."""
        return self.outer_edge and self.inner_edge


@dataclass(frozen=True, slots=True)
class Fit:
    """How a shoe lies on a foot; ``heel_extension_mm`` is negative where the shoe is short."""

    heel_extension_mm: float
    wider_by_mm: float
    heels: tuple[HeelCover, HeelCover]

    @property
    def covers_both_heels(self) -> bool:
        """Say whether both heels of the trimmed foot lie on the shoe."""
        return all(each.is_covered for each in self.heels)


@dataclass(frozen=True, slots=True)
class Alteration:
    """What has to be done to a shoe for a foot; plus is longer or wider than the shoe is."""

    length_mm: float
    width_mm: float
    sentences: tuple[str, ...]

    @property
    def cost(self) -> float:
        """Return the sum of the changes in tolerances; drawing out counts double."""
        drawn_out = 2.0 * max(self.length_mm, 0.0) + max(-self.length_mm, 0.0)
        return (drawn_out + abs(self.width_mm)) / TOLERANCE_MM

    @property
    def is_too_far(self) -> bool:
        """Say whether another size is called for."""
        return max(abs(self.length_mm), abs(self.width_mm)) > MOST_SET_MM


def fit_of(shoe: ShoeShape, foot: Foot) -> Fit:
    """Return how a shoe lies on a foot.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    heel_x = shoe.length_mm + shoe.toe_back_mm - foot.length_mm
    outline = outline_of(shoe)
    sides = (("inner", -1.0), ("outer", 1.0))
    first, second = (_heel(outline, foot, side, sign, heel_x) for side, sign in sides)
    return Fit(heel_x, shoe.width_mm - foot.width_mm, (first, second))


def _heel(outline: Any, foot: Foot, side: str, sign: float, heel_x: float) -> HeelCover:  # noqa: ANN401 - a shapely geometry
    from shapely import LineString, Point  # noqa: PLC0415 - loaded on first use

    edge = foot.shape.heels * foot.width_mm / 2.0
    across = LineString([(heel_x, 0.0), (heel_x, sign * 10.0 * foot.width_mm)])
    there = outline.intersection(across)
    reach = 0.0 if there.is_empty else max(abs(there.bounds[1]), abs(there.bounds[3]))
    return HeelCover(
        side=side,
        outer_edge=bool(outline.covers(Point(heel_x, sign * (edge - TIE)))),
        inner_edge=bool(outline.covers(Point(heel_x, sign * (edge - WALL_MM)))),
        overhang_mm=float(reach - edge),
    )


def alteration(shoe: ShoeShape, foot: Foot) -> Alteration:
    """Return what has to be altered on a shoe so that it is as long and as wide as is wanted."""
    longer = foot.length_mm + foot.heel_extension_mm - shoe.length_mm - shoe.toe_back_mm
    wider = foot.width_mm - shoe.width_mm
    return Alteration(longer, wider, (*_length_said(shoe, longer), *_width_said(wider)))


def _length_said(shoe: ShoeShape, longer: float) -> tuple[str, ...]:
    if abs(longer) < SAME_MM:
        return ()
    if longer > 0:
        return (f"{longer:.0f} mm too short: draw out each heel, or take a longer one",)
    if shoe.category in EGGS - OPEN_TOES:
        return (f"{-longer:.0f} mm too long, and a closed bar cannot be cut back",)
    return (f"take {-longer:.0f} mm off each heel",)


def _width_said(wider: float) -> tuple[str, ...]:
    if abs(wider) < SAME_MM:
        return ()
    return (f"set {abs(wider):.0f} mm {'wider' if wider > 0 else 'narrower'}",)


def nearest(stock: Iterable[tuple[T, ShoeShape]], foot: Foot) -> list[tuple[T, Alteration]]:
    """Return the stock with what has to be altered, least first."""
    found = [(what, alteration(shape, foot)) for what, shape in stock]
    return sorted(found, key=lambda each: (each[1].is_too_far, each[1].cost))
