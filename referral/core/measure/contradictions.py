"""Where what was chosen for a picture, what its file says, and earlier pictures disagree."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from referral.core.measure.readings import Caveat
from referral.core.measure.views import VIEWS

LIMB_NAMES: Mapping[str, str] = {
    "LF": "left fore", "RF": "right fore", "LH": "left hind", "RH": "right hind",
}  # fmt: skip
TOE_PAIRS = (("heel", "toe"), ("ground_palmar", "ground_dorsal"), ("p3_palmar_process", "p3_tip"))
SIDE_PAIRS = (
    ("ground_medial", "ground_lateral"),
    ("p3_margin_medial", "p3_margin_lateral"),
    ("widest_medial", "widest_lateral"),
    ("heel_medial", "heel_lateral"),
)


@dataclass(frozen=True, slots=True)
class Chosen:
    """A picture as somebody chose to call it, and where its landmarks lie, picture pixels."""

    limb: str
    view: str
    landmarks_px: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FileSays:
    """What the picture's own file says; ``None`` where it says nothing.

    ``limb`` is LF RF LH RH, ``side`` L or R where the file names only the side.
    """

    limb: str | None = None
    side: str | None = None
    view: str | None = None


def contradictions(
    chosen: Chosen, file: FileSays, earlier: Mapping[str, Any] | None = None
) -> tuple[Caveat, ...]:
    """Return each contradiction in a sentence that says both sides and what to do.

    Parameters
    ----------
    chosen : Chosen
        The picture as it is filed.
    file : FileSays
        What its file says of limb and view.
    earlier : mapping or None
        Landmarks of an earlier picture of the same limb and view, in its own pixels.

    Returns
    -------
    tuple of Caveat
        ``limb_contradicts``, ``view_contradicts``; ``toe_turned`` or ``sides_turned`` where the
        toe, or the outer side, points to the other side of the picture than it did before: one
        of the two is mirrored, or is of another limb.

    Notes
    -----
    Design; laterality as in DICOM PS3.3 C.7.3.1.1.

    Examples
    --------
    >>> chosen = Chosen("RF", "lateromedial", {})
    >>> [caveat.code for caveat in contradictions(chosen, FileSays(limb="LF"))]
    ['limb_contradicts']
    """
    found = [*_of_limb(chosen, file), *_of_view(chosen, file)]
    if earlier is not None:
        found += _turned(chosen.landmarks_px, earlier)
    return tuple(found)


def _of_limb(chosen: Chosen, file: FileSays) -> list[Caveat]:
    says = file.limb or file.side
    if says is None or chosen.limb.startswith(says):
        return []
    name = LIMB_NAMES.get(says) or ("left" if says == "L" else "right")
    text = (
        f"The file says {name}; the picture is filed as {LIMB_NAMES[chosen.limb]}. Look which "
        "is right: if the file is, add it anew under its own limb."
    )
    return [Caveat("limb_contradicts", text)]


def _of_view(chosen: Chosen, file: FileSays) -> list[Caveat]:
    if file.view is None or file.view == chosen.view or VIEWS[chosen.view].is_photo:
        return []
    text = (
        f"The file says the view is {file.view}; it is filed as {chosen.view}. Look which is right."
    )
    return [Caveat("view_contradicts", text)]


def _turned(now: Mapping[str, Any], before: Mapping[str, Any]) -> list[Caveat]:
    found = []
    for code, pairs, what in (
        ("toe_turned", TOE_PAIRS, "toe"),
        ("sides_turned", SIDE_PAIRS, "outer side"),
    ):
        first, second = _points_right(before, pairs), _points_right(now, pairs)
        if first is not None and second is not None and first != second:
            was, is_now = (("right" if each else "left") for each in (first, second))
            text = (
                f"The {what} points to the {is_now} here and pointed to the {was} on the earlier "
                "picture of this limb and view: one is mirrored, or of the other limb."
            )
            found.append(Caveat(code, text))
    return found


def _points_right(points: Mapping[str, Any], pairs: tuple[tuple[str, str], ...]) -> bool | None:
    for rear, front in pairs:
        if rear in points and front in points:
            apart = float(np.asarray(points[front], float)[0] - np.asarray(points[rear], float)[0])
            return apart > 0.0 if apart else None
    return None
