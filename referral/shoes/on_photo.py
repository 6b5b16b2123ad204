"""A shoe's outline laid true to scale over a photo of the sole, and what that tells.

The heels are lined up as the plan says: the shoe's heel line lies its planned distance behind
the middle of the two heels as they were placed on the photo, the middle lines on each other. The
foot's frame is the photo's: millimetres, x from there to the toe, y to the outer side.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from referral.core.geometry.frames import shown_size, square_stretch
from referral.core.geometry.points import Floats
from referral.shoes.drawing import rings_of
from referral.shoes.fit import TIE, HeelCover
from referral.shoes.outline import ShoeShape, outline_of

NEEDED = ("toe", "heel_medial", "heel_lateral")
"""The landmarks without which a shoe cannot be laid on a photo."""
SIDES = (("inner", "medial", -1.0), ("outer", "lateral", 1.0))
FINEST_SHARE = 1 / 420
INK, SHOE, LINE = "#000000", "#8fe3ff", "#ffe08a"


@dataclass(frozen=True, slots=True)
class OnPhoto:
    """How a shoe lies on a photographed foot, in millimetres; None for what was not placed.

    ``toe_back_mm`` is positive where the shoe's toe lies behind the foot's, ``wider_by_mm`` where
    the shoe is wider, ``behind_frog_mm`` where the shoe's heels reach behind the frog's widest.
    """

    heels: tuple[HeelCover, HeelCover]
    toe_back_mm: float
    wider_by_mm: float | None
    behind_frog_mm: float | None


def on_photo(shoe: ShoeShape, foot: Mapping[str, Floats], extension_mm: float) -> OnPhoto:
    """Return how a shoe lies on a foot whose landmarks are in the foot's frame.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    outline = outline_of(shoe)
    inner, outer = (
        _heel(outline, foot[f"heel_{side}"], word, sign, extension_mm) for word, side, sign in SIDES
    )
    edges = [foot.get(f"widest_{side}") for _word, side, _sign in SIDES]
    frog = foot.get("frog_widest_level")
    width = None
    if edges[0] is not None and edges[1] is not None:
        width = float(edges[1][1] - edges[0][1])
    return OnPhoto(
        heels=(inner, outer),
        toe_back_mm=float(foot["toe"][0]) + extension_mm - shoe.length_mm - shoe.toe_back_mm,
        wider_by_mm=None if width is None else shoe.width_mm - width,
        behind_frog_mm=None if frog is None else float(frog[0]) + extension_mm,
    )


def _heel(outline: Any, at: Floats, word: str, sign: float, extension_mm: float) -> HeelCover:  # noqa: ANN401 - a shapely geometry
    """Return whether the shoe lies under a heel as it was placed, and how far it stands out."""
    from shapely import LineString, Point  # noqa: PLC0415 - loaded on first use

    along, out = float(at[0]) + extension_mm, sign * float(at[1])
    across = LineString([(along, 0.0), (along, sign * 10.0 * abs(out) + sign * 100.0)])
    there = outline.intersection(across)
    reach = 0.0 if there.is_empty else max(abs(there.bounds[1]), abs(there.bounds[3]))
    is_covered = bool(outline.buffer(TIE).covers(Point(along, sign * out)))
    return HeelCover(word, is_covered, is_covered, float(reach - out))


def laid_svg(
    shoe: ShoeShape,
    foot: Mapping[str, Floats],
    foot_px: Mapping[str, Sequence[float]],
    extension_mm: float,
    size_px: tuple[int, int],
    aspect: tuple[float, float] = (1.0, 1.0),
) -> str:
    """Return the outline over the photo: with its heel line, and the level of the frog's widest.

    ``foot`` are the landmarks in the foot's frame, ``foot_px`` the same on the photo.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    width, height = shown_size(size_px, aspect)
    to_photo = _to_photo(foot, foot_px, np.array(square_stretch(aspect)))
    fine = max(width, height) * FINEST_SHARE
    back = np.array([extension_mm, 0.0])
    rings = [to_photo(np.asarray(ring.coords[:-1]) - back) for ring in rings_of(outline_of(shoe))]
    path = "".join(f"M{_joined(ring)}Z" for ring in rings)
    lines = [_across(to_photo, -extension_mm, shoe.width_mm)]
    if "frog_widest_level" in foot:
        lines.append(_across(to_photo, float(foot["frog_widest_level"][0]), shoe.width_mm))
    drawn = "".join(
        f'<path d="{path}" fill="{fill}" fill-opacity=".22" fill-rule="evenodd" '
        f'stroke="{colour}" stroke-width="{wide * fine:.1f}"/>'
        f'<path d="{"".join(lines)}" fill="none" stroke="{line}" stroke-width="{wide * fine:.1f}" '
        f'stroke-dasharray="{6 * fine:.1f} {4 * fine:.1f}"/>'
        for colour, line, fill, wide in ((INK, INK, "none", 3.4), (SHOE, LINE, SHOE, 1.6))
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="film-overlay" '
        f'viewBox="0 0 {width:g} {height:g}" aria-hidden="true">{drawn}</svg>'
    )


def _to_photo(
    foot: Mapping[str, Floats], foot_px: Mapping[str, Sequence[float]], stretch: Floats
) -> Any:  # noqa: ANN401 - a function of points
    """Return what takes points of the foot's frame to the photo as it is shown.

    Toe and heels stand in both; between them the photo is turned, mirrored and scaled, no more.
    """
    known = np.array([[*foot[name], 1.0] for name in NEEDED])
    shown = np.array([foot_px[name] for name in NEEDED]) * stretch
    taken = np.linalg.solve(known, shown)

    def to_photo(points: Floats) -> Floats:
        moved: Floats = np.column_stack([points, np.ones(len(points))]) @ taken
        return moved

    return to_photo


def _across(to_photo: Any, along_mm: float, width_mm: float) -> str:  # noqa: ANN401 - as above
    half = 0.6 * width_mm
    return f"M{_joined(to_photo(np.array([[along_mm, -half], [along_mm, half]])))}"


def _joined(points: Floats) -> str:
    return "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
