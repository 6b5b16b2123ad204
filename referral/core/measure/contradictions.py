"""Where what was chosen for a picture, what its file says, and earlier pictures disagree."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

import numpy as np

from referral.core.geometry.lines import cross
from referral.core.geometry.points import Floats
from referral.core.measure.readings import Caveat
from referral.core.measure.views import VIEWS

LIMB_NAMES: Mapping[str, str] = MappingProxyType(
    {"LF": "left fore", "RF": "right fore", "LH": "left hind", "RH": "right hind"}
)
TOWARDS: Mapping[str, Mapping[str, int]] = MappingProxyType(
    {
        "lateromedial": MappingProxyType({"D": 1, "PA": -1, "PL": -1}),
        "dorsopalmar": MappingProxyType({"L": 1, "M": -1}),
    }
)
"""View -> words of a file's orientation -> whether they name the front (lateral) of the frame.

Source: DICOM PS3.3 C.7.6.1.1.1, for animals on four feet.
"""
OF_ANIMALS = frozenset({"PR", "DI", "D", "PA", "PL", "M"})
"""Words that only the orientation of an animal has; in people L is left, here lateral."""

DIRECTIONS: tuple[tuple[str, str], ...] = (("right", "left"), ("bottom", "top"))
WHAT_TURNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "lateromedial": ("toe_turned", "Stood upright, the toe points"),
        "side_photo": ("toe_turned", "Stood upright, the toe points"),
        "dorsopalmar": ("sides_turned", "Stood upright, the outer side lies"),
        "front_photo": ("sides_turned", "Stood upright, the outer side lies"),
        "sole_photo": ("sides_turned", "With the toe up, the outer side lies"),
    }
)
"""View -> code, and what is seen to turn."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A picture as somebody chose to call it, and where its landmarks lie, picture pixels.

    ``taken_on`` is the day that was stated.
    """

    limb: str
    view: str
    landmarks_px: Mapping[str, Any]
    taken_on: date | None = None


@dataclass(frozen=True, slots=True)
class FileSays:
    r"""What the picture's own file says; ``None`` where it says nothing.

    ``limb`` is LF RF LH RH, ``side`` L or R where the file names only the side. ``view`` is a
    view of ours. ``orientation`` is what lies to the right and at the bottom of the picture,
    as it stands in the file: ``D\DI``. ``claimed_on`` is the day by the clock of a photo's
    camera, where the camera was.
    """

    limb: str | None = None
    side: str | None = None
    view: str | None = None
    orientation: str | None = None
    claimed_on: date | None = None


def contradictions(
    chosen: Chosen, file: FileSays, earlier: Mapping[str, Any] | None = None
) -> tuple[Caveat, ...]:
    """Return each contradiction in a sentence that says both sides and what to do.

    Parameters
    ----------
    chosen : Chosen
        The picture as it is filed.
    file : FileSays
        What its file says of limb, view and orientation.
    earlier : mapping or None
        Landmarks of an earlier picture of the same limb and view, in its own pixels.

    Returns
    -------
    tuple of Caveat
        ``limb_contradicts``, ``view_contradicts``, ``day_contradicts``;
        ``orientation_contradicts`` where the landmarks run against the file's orientation;
        ``toe_turned`` or ``sides_turned`` where the foot is mirrored against the earlier
        picture. A picture that is only turned is no contradiction. Empty where nothing
        disagrees or nothing is known.

    Notes
    -----
    Design; laterality and orientation as in DICOM PS3.3 C.7.3.1.1 and C.7.6.1.1.1.

    Examples
    --------
    >>> chosen = Chosen("RF", "lateromedial", {})
    >>> [caveat.code for caveat in contradictions(chosen, FileSays(limb="LF"))]
    ['limb_contradicts']
    """
    found = [*_of_limb(chosen, file), *_of_view(chosen, file), *_of_day(chosen, file)]
    found += _of_orientation(chosen, file)
    if earlier is not None:
        found += _turned(chosen, earlier)
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
        f"The file says the view is {file.view}; it is filed as {chosen.view}. Look which is "
        "right: if the file is, add it anew as that view."
    )
    return [Caveat("view_contradicts", text)]


def _of_day(chosen: Chosen, file: FileSays) -> list[Caveat]:
    """Return a doubt where a camera's clock and the stated day differ; clocks are often wrong."""
    if None in (chosen.taken_on, file.claimed_on) or chosen.taken_on == file.claimed_on:
        return []
    text = (
        f"The camera's clock says {file.claimed_on}; the day that was stated is "
        f"{chosen.taken_on} and counts. Look whether this is the picture that was meant."
    )
    return [Caveat("day_contradicts", text)]


def _of_orientation(chosen: Chosen, file: FileSays) -> list[Caveat]:
    words = (file.orientation or "").split("\\")
    rear, *_, front = VIEWS[chosen.view].frame
    points = chosen.landmarks_px
    towards = TOWARDS.get(chosen.view, {})
    if OF_ANIMALS.isdisjoint(words) or rear not in points or front not in points:
        return []
    run = _point(points[front]) - _point(points[rear])
    along = int(np.argmax(np.abs(run)))
    sign = towards.get(words[along], 0) if along < len(words) else 0
    if sign * run[along] >= 0.0:
        return []
    said, seen = DIRECTIONS[along] if sign > 0 else DIRECTIONS[along][::-1]
    what = "toe" if chosen.view == "lateromedial" else "outer side"
    text = (
        f"The file says the {what} lies to the {said} of the picture; the landmarks have it to "
        f"the {seen}. Look whether the picture was mirrored or landmarks are exchanged, and "
        "place them anew."
    )
    return [Caveat("orientation_contradicts", text)]


def _turned(chosen: Chosen, before: Mapping[str, Any]) -> list[Caveat]:
    code, seen = WHAT_TURNS[chosen.view]
    first = _points_right(chosen.view, before)
    second = _points_right(chosen.view, chosen.landmarks_px)
    if first is None or second is None or first == second:
        return []
    was, is_now = (("right" if each else "left") for each in (first, second))
    text = (
        f"{seen} to the {is_now} here and to the {was} on the earlier picture of this limb and "
        "view: one is mirrored, or of the other limb, or taken from the other side. Look which, "
        "and place its landmarks anew or add it under its own limb."
    )
    return [Caveat(code, text)]


def _points_right(view: str, points: Mapping[str, Any]) -> bool | None:
    """Return to which side the foot looks once it is turned upright, or None if unknown."""
    spec = VIEWS[view]
    rear, *_, front = spec.frame
    above = [name for name in spec.above if name in points]
    if rear not in points or front not in points or not above:
        return None
    origin = _point(points[rear])
    turn = float(cross(_point(points[front]) - origin, _point(points[above[0]]) - origin))
    # The picture's y points down. Seen from below, what is above the middle line is lateral.
    return (turn > 0.0) is bool(spec.middle) if turn else None


def _point(raw: Any) -> Floats:  # noqa: ANN401 - landmarks as they are stored
    return np.asarray(raw, dtype=np.float64)
