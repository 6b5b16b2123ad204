"""The plan as a drawing: what comes off, the shod foot from the side, the shoe from below.

The outlines are schematic; the plan's own numbers (trims, wedge, thickness, setback, extensions)
and the foot's angles and bearing length, where known, are drawn true to each other. Lengths are
millimetres, x forward and y up before they are turned into SVG, whose y runs down.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from referral.core.predict.plan import Plan
from referral.sheets.snapshot import DrawnPlan
from referral.web.written import MINUS, number

USUAL_ANGLE_DEG = 50.0
USUAL_LENGTH_MM = 135.0
USUAL_PALMAR_DEG = 5.0
USUAL_WEB_MM = 22.0
WALL_LENGTH_MM = 88.0
HEEL_LENGTH_MM = 42.0
LEAST_WALL_ANGLE_DEG = 20.0
LETTERS_MM, SIDE_WIDTH_MM, SOLE_WIDTH_MM = 2.4, 66.0, 40.0
INK, HORN, SHOE, METAL, CUT = "#14191f", "#e9e4da", "#5d6b78", "#b9c2ca", "#8a5a00"

Point = tuple[float, float]


class _Canvas:
    """An SVG drawing in millimetres, y up, whose letters print at one size whatever its scale."""

    def __init__(
        self, printed_mm: float, left: float, bottom: float, right: float, top: float
    ) -> None:
        self.left, self.right, self._bottom, self._top = left, right, bottom, top
        self._letters = LETTERS_MM * (right - left) / printed_mm
        self._parts: list[str] = []

    def add(self, *shapes: str) -> None:
        self._parts.extend(shapes)

    def text(self, at: Point, words: str, anchor: str = "start") -> None:
        self._parts.append(
            f'<text x="{at[0]:.1f}" y="{-at[1]:.1f}" font-size="{self._letters:.2f}" '
            f'text-anchor="{anchor}" fill="{INK}">{words}</text>'
        )

    def svg(self) -> str:
        width, height = self.right - self.left, self._top - self._bottom
        return (
            '<svg xmlns="http://www.w3.org/2000/svg" '
            f'viewBox="{self.left:.1f} {-self._top:.1f} {width:.1f} {height:.1f}" '
            "font-family=\"'Noto Sans','Noto Sans Math'\">"
            '<defs><pattern id="cut" width="4" height="4" patternUnits="userSpaceOnUse">'
            f'<path d="M0 4 L4 0" stroke="{CUT}" stroke-width="0.9"/></pattern></defs>'
            f"{''.join(self._parts)}</svg>"
        )


@dataclass(frozen=True, slots=True)
class _Foot:
    """Side-view landmarks of one foot, toe of the bearing line at the origin.

    ``bone`` is the distal phalanx: tip, extensor process, a point that bends the joint surface,
    top and bottom of the palmar process.
    """

    toe: Point
    heel: Point
    crown_front: Point
    crown_back: Point
    bone: tuple[Point, ...]


def drawn_from(
    plan: Plan,
    limb: str,
    *,
    wall_angle_deg: float | None = None,
    heel_angle_deg: float | None = None,
    palmar_angle_deg: float | None = None,
    bearing_length_mm: float | None = None,
) -> DrawnPlan:
    """Return what the drawing needs of a plan and of the foot it is for."""
    shoe = plan.shoe
    return DrawnPlan(
        limb=limb,
        category=shoe.category if shoe else None,
        toe_trim_mm=plan.toe_trim_mm,
        heel_trim_mm=plan.heel_trim_mm,
        toe_dress_mm=plan.toe_dress_mm,
        wedge_deg=plan.wedge_deg,
        pad_mm=plan.pad_mm,
        thickness_mm=shoe.thickness_mm if shoe else 0.0,
        web_mm=shoe.web_mm if shoe else None,
        width_mm=shoe.width_mm if shoe else None,
        length_mm=shoe.length_mm if shoe else None,
        breakover_setback_mm=shoe.breakover_setback_mm if shoe else 0.0,
        heel_extension_mm=shoe.heel_extension_mm if shoe else 0.0,
        medial_extension_mm=shoe.medial_extension_mm if shoe else 0.0,
        lateral_extension_mm=shoe.lateral_extension_mm if shoe else 0.0,
        wall_angle_deg=wall_angle_deg,
        heel_angle_deg=heel_angle_deg,
        palmar_angle_deg=palmar_angle_deg,
        bearing_length_mm=bearing_length_mm,
    )


def trim_svg(plan: DrawnPlan) -> str:
    """Return the side view of the foot as it stands, with what the trim takes off hatched."""
    foot = _standing_foot(plan)
    toe, heel = _trimmed_line(plan, foot)
    page = _Canvas(SIDE_WIDTH_MM, foot.crown_back[0] - 34, -18.0, 34.0, foot.crown_front[1] + 16)
    page.add(*_foot_shapes(foot))
    page.add(_polygon((foot.toe, foot.heel, heel, toe), fill="url(#cut)", stroke=CUT, dash=True))
    page.add(_ground(page))
    page.text((34, -13), f"toe {MINUS}{_number(plan.toe_trim_mm)} mm", "end")
    page.text((foot.heel[0] - 18, -13), f"heels {MINUS}{_number(plan.heel_trim_mm)} mm")
    if plan.toe_dress_mm:
        page.text((34, 16), f"dress {MINUS}{_number(plan.toe_dress_mm)} mm", "end")
    return page.svg()


def shod_svg(plan: DrawnPlan) -> str:
    """Return the side view after fitting: trimmed foot, wedge, shoe, breakover and heel."""
    standing = _standing_foot(plan)
    foot = _levelled(standing, *_trimmed_line(plan, standing))
    lift = plan.thickness_mm + plan.pad_mm
    wedge = _turned_about(foot.toe, plan.wedge_deg)
    raised = _moved(foot, lambda point: _up(wedge(point), lift))
    heel_end = (raised.heel[0] - plan.heel_extension_mm, 0.0)
    page = _Canvas(
        SIDE_WIDTH_MM, standing.crown_back[0] - 34, -18.0, 34.0, raised.crown_front[1] + 18
    )
    page.add(*_foot_shapes(raised))
    if plan.category is None:
        page.text((-60, -13), "barefoot", "middle")
    else:
        page.add(*_shoe_side(plan, foot.toe, raised.heel, heel_end))
        page.text((34, -13), f"breakover {_number(plan.breakover_setback_mm)} mm back", "end")
        wedge_words = f"{_number(plan.wedge_deg)}° wedge, " if plan.wedge_deg else ""
        page.text((page.left, -13), f"{wedge_words}heel {_signed(plan.heel_extension_mm)} mm")
    page.add(_ground(page))
    return page.svg()


def sole_svg(plan: DrawnPlan) -> str:
    """Return the foot from below, toe up, with the shoe's category drawn on it."""
    length = plan.bearing_length_mm or USUAL_LENGTH_MM
    half = (plan.width_mm or 0.96 * length) / 2
    page = _Canvas(SOLE_WIDTH_MM, -half - 26, -length - 26, half + 26, 20)
    page.add(_sole_outline(half, length), _frog(half, length))
    if plan.category is not None:
        page.add(*_shoe_below(plan, half, length))
    medial_left = plan.limb.startswith("L")
    for side, extra_mm in (
        ("medial", plan.medial_extension_mm),
        ("lateral", plan.lateral_extension_mm),
    ):
        left = (side == "medial") == medial_left
        words = f"{side} {_signed(extra_mm)} mm" if extra_mm else side
        page.text((page.left, 8) if left else (page.right, 8), words, "start" if left else "end")
    return page.svg()


def _standing_foot(plan: DrawnPlan) -> _Foot:
    wall = math.radians(max(plan.wall_angle_deg or USUAL_ANGLE_DEG, LEAST_WALL_ANGLE_DEG))
    heel_angle = plan.heel_angle_deg or plan.wall_angle_deg or USUAL_ANGLE_DEG
    back = math.radians(max(heel_angle, LEAST_WALL_ANGLE_DEG))
    length = plan.bearing_length_mm or USUAL_LENGTH_MM
    palmar = math.radians(
        USUAL_PALMAR_DEG if plan.palmar_angle_deg is None else plan.palmar_angle_deg
    )
    tip = (-0.25 * length, 15.0)

    def from_tip(along_mm: float, angle: float, rise_mm: float = 0.0) -> Point:
        return tip[0] - along_mm * math.cos(angle), tip[1] + along_mm * math.sin(angle) + rise_mm

    return _Foot(
        toe=(0.0, 0.0),
        heel=(-length, 0.0),
        crown_front=(-WALL_LENGTH_MM * math.cos(wall), WALL_LENGTH_MM * math.sin(wall)),
        crown_back=(
            -length - HEEL_LENGTH_MM * math.cos(back) * 0.5,
            HEEL_LENGTH_MM * math.sin(back),
        ),
        bone=(
            tip,
            from_tip(54, wall),
            from_tip(42, palmar, 21),
            from_tip(60, palmar, 15),
            from_tip(64, palmar, 2),
        ),
    )


def _trimmed_line(plan: DrawnPlan, foot: _Foot) -> tuple[Point, Point]:
    wall = math.radians(max(plan.wall_angle_deg or USUAL_ANGLE_DEG, LEAST_WALL_ANGLE_DEG))
    slope = (foot.crown_back[0] - foot.heel[0]) / foot.crown_back[1]
    toe = (-plan.toe_dress_mm - plan.toe_trim_mm / math.tan(wall), plan.toe_trim_mm)
    heel = (foot.heel[0] + plan.heel_trim_mm * slope, plan.heel_trim_mm)
    return toe, heel


def _levelled(foot: _Foot, toe: Point, heel: Point) -> _Foot:
    tilt_deg = math.degrees(math.atan2(toe[1] - heel[1], toe[0] - heel[0]))
    turn = _turned_about(toe, tilt_deg)
    cut = _Foot(toe, heel, foot.crown_front, foot.crown_back, foot.bone)
    return _moved(cut, lambda point: _up(turn(point), -toe[1]))


def _turned_about(centre: Point, heels_up_deg: float) -> Callable[[Point], Point]:
    cos, sin = math.cos(math.radians(heels_up_deg)), math.sin(math.radians(heels_up_deg))

    def turned(point: Point) -> Point:
        x, y = point[0] - centre[0], point[1] - centre[1]
        return centre[0] + x * cos + y * sin, centre[1] - x * sin + y * cos

    return turned


def _up(point: Point, lift_mm: float) -> Point:
    return point[0], point[1] + lift_mm


def _moved(foot: _Foot, move: Callable[[Point], Point]) -> _Foot:
    return _Foot(
        move(foot.toe),
        move(foot.heel),
        move(foot.crown_front),
        move(foot.crown_back),
        tuple(move(point) for point in foot.bone),
    )


def _foot_shapes(foot: _Foot) -> list[str]:
    """Return capsule with rounded heel and crown, the start of the pastern, and the bone."""
    toe, front, back, heel = foot.toe, foot.crown_front, foot.crown_back, foot.heel
    slope = (front[0] - toe[0], front[1] - toe[1])
    pastern_front = (front[0] + 0.22 * slope[0], front[1] + 0.22 * slope[1] + 3)
    pastern_back = (back[0] + 0.55 * slope[0] * 0.5, back[1] + 0.5 * slope[1])
    bulb = (back[0] - 9, back[1] * 0.5 + heel[1] * 0.5)
    crown = ((front[0] + back[0]) / 2, (front[1] + back[1]) / 2 + 5)
    capsule = f"M {_at(toe)} L {_at(front)} Q {_at(crown)} {_at(back)} Q {_at(bulb)} {_at(heel)} Z"
    tip, process, joint, wing_top, wing = foot.bone
    bone = (
        f"M {_at(tip)} L {_at(process)} Q {_at(joint)} {_at(wing_top)} L {_at(wing)} "
        f"Q {_at(((tip[0] + wing[0]) / 2, (tip[1] + wing[1]) / 2 + 4))} {_at(tip)} Z"
    )
    pastern = f"M {_at(front)} L {_at(pastern_front)} M {_at(back)} L {_at(pastern_back)}"
    dashed = 'fill="none" stroke="#7d8790" stroke-width="1" stroke-dasharray="3 2"'
    return [
        f'<path d="{pastern}" {dashed}/>',
        f'<path d="{capsule}" fill="{HORN}" stroke="{INK}" stroke-width="1.2"/>',
        f'<path d="{bone}" fill="#ffffff" stroke="{INK}" stroke-width="0.8"/>',
    ]


def _shoe_side(plan: DrawnPlan, toe: Point, heel: Point, heel_end: Point) -> list[str]:
    """Return shoe, pad and wedge in side view; a set-back breakover shows as a chamfer."""
    thick, top = plan.thickness_mm, plan.thickness_mm + plan.pad_mm
    breakover = (toe[0] - plan.breakover_setback_mm, 0.0)
    nose = (toe[0], thick * 0.55) if plan.breakover_setback_mm else (toe[0], 0.0)
    parts = [
        _polygon(
            ((toe[0], thick), nose, breakover, heel_end, (heel_end[0], thick)),
            fill=SHOE,
            stroke=INK,
        )
    ]
    if plan.pad_mm:
        strip = ((toe[0], thick), (toe[0], top), (heel_end[0], top), (heel_end[0], thick))
        parts.append(_polygon(strip, fill="#c9b68a", stroke=INK, width=0.7))
    if plan.wedge_deg:
        parts.append(
            _polygon(((toe[0], top), heel, (heel[0], top)), fill="#f1e3bd", stroke=INK, width=0.7)
        )
    return parts


def _sole_outline(half: float, length: float) -> str:
    path = (
        f"M {-half * 0.62:.1f} {length:.1f} C {-half * 1.12:.1f} {length * 0.72:.1f} "
        f"{-half * 1.16:.1f} {length * 0.02:.1f} 0 0 "
        f"C {half * 1.16:.1f} {length * 0.02:.1f} {half * 1.12:.1f} {length * 0.72:.1f} "
        f"{half * 0.62:.1f} {length:.1f} "
        f"Q {half * 0.3:.1f} {length * 1.06:.1f} 0 {length * 0.93:.1f} "
        f"Q {-half * 0.3:.1f} {length * 1.06:.1f} {-half * 0.62:.1f} {length:.1f} Z"
    )
    return f'<path d="{path}" fill="{HORN}" stroke="{INK}" stroke-width="1"/>'


def _frog(half: float, length: float) -> str:
    path = (
        f"M 0 {length * 0.44:.1f} L {half * 0.36:.1f} {length * 0.95:.1f} "
        f"L {half * 0.1:.1f} {length * 0.93:.1f} L 0 {length * 0.66:.1f} "
        f"L {-half * 0.1:.1f} {length * 0.93:.1f} L {-half * 0.36:.1f} {length * 0.95:.1f} Z"
    )
    return (
        f'<path d="{path}" fill="#ffffff" stroke="{INK}" stroke-width="0.8" '
        'stroke-linejoin="round"/>'
    )


def _shoe_below(plan: DrawnPlan, half: float, length: float) -> list[str]:
    """Return the shoe as a band of its web's width; bars by the words of its category."""
    web = plan.web_mm or USUAL_WEB_MM
    name = (plan.category or "").lower()
    closed = "egg" in name or "straight" in name
    reach = length + plan.heel_extension_mm - (web / 2 if closed else 0)
    side, top = half - web / 2, plan.breakover_setback_mm * 0.5 + web / 2
    heel_x = half * 0.62
    outline = (
        f"M {-heel_x:.1f} {reach:.1f} C {-side * 1.18:.1f} {length * 0.72:.1f} "
        f"{-side * 1.16:.1f} {top:.1f} 0 {top:.1f} C {side * 1.16:.1f} {top:.1f} "
        f"{side * 1.18:.1f} {length * 0.72:.1f} {heel_x:.1f} {reach:.1f}"
    )
    if "egg" in name:
        outline += f" Q 0 {reach + web * 0.9:.1f} {-heel_x:.1f} {reach:.1f}"
    shapes = [outline + " Z" if closed else outline]
    if "heart" in name:
        shapes.append(
            f"M {-heel_x:.1f} {reach - web / 3:.1f} Q {-half * 0.3:.1f} {reach - web * 0.2:.1f} "
            f"0 {length * 0.6:.1f} Q {half * 0.3:.1f} {reach - web * 0.2:.1f} "
            f"{heel_x:.1f} {reach - web / 3:.1f}"
        )
    return [_band(shapes, web, INK), _band(shapes, web - 2.2, METAL)]


def _band(paths: Sequence[str], width: float, colour: str) -> str:
    return "".join(
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:.1f}" '
        'stroke-linejoin="round"/>'
        for path in paths
    )


def _ground(page: "_Canvas") -> str:
    return (
        f'<line x1="{page.left:.1f}" y1="0" x2="{page.right:.1f}" y2="0" '
        f'stroke="{INK}" stroke-width="1"/>'
    )


def _polygon(
    points: Sequence[Point], *, fill: str, stroke: str, width: float = 1.0, dash: bool = False
) -> str:
    corners = " ".join(f"{x:.1f},{-y:.1f}" for x, y in points)
    dashes = ' stroke-dasharray="4 2"' if dash else ""
    return (
        f'<polygon points="{corners}" fill="{fill}" stroke="{stroke}" '
        f'stroke-width="{width}" stroke-linejoin="round"{dashes}/>'
    )


def _at(point: Point) -> str:
    return f"{point[0]:.1f} {-point[1]:.1f}"


def _number(value: float) -> str:
    return number(value).removesuffix(".0")


def _signed(value: float) -> str:
    return _number(value) if value < 0 else f"+{_number(value)}"
