"""Why a reading of a film is absent, in the words that stand beside it."""

from collections.abc import Collection, Mapping
from types import MappingProxyType

from referral.core.geometry.scale import Scale
from referral.core.measure.needs import Needs, lacking
from referral.core.measure.side_photo import PLUMB
from referral.core.measure.sole_photo import SCALE_ENDS
from referral.core.measure.views import NOTHING, View

BEARING = ("bearing_palmar", "bearing_dorsal")
ON_BEARING_LINE = frozenset({"sole_cup_tip_mm"})
NO_SCALE = "no scale: place a marker of known length on the film, or state its spacing"
NO_PHOTO_SCALE = (
    "no scale: place scale_a and scale_b on a known length in the plane to be measured, "
    "and say how long it is"
)
NO_LENGTH = "no scale: say how long it is from scale_a to scale_b"
NO_ENDS = "needs scale_a and scale_b, the ends of the known length"
CANNON_LEANS = "the cannon does not stand vertical"
CANNON_UNSAID = "needs to be told that the cannon stands vertical"
CONFLICT = "no scale: the film's sources of scale contradict each other"


def absent_reasons(
    view: View,
    names: Collection[str],
    *,
    shod: str,
    in_mm: bool,
    scale: Scale,
    no_scale: str = NO_SCALE,
    refused: Mapping[str, str] = NOTHING,
) -> dict[str, str]:
    """Return the reason for each reading of a view that cannot be had.

    Parameters
    ----------
    view : View
        The view, with what each of its readings needs.
    names : collection of str
        The landmarks placed.
    shod : str
        ``yes no unknown``: on a shod foot the ground line is not the hoof's bearing line.
    in_mm : bool
        Whether the points are in the foot frame: no ground points and no scale are needed.
    scale : Scale
        The film's scale.
    no_scale : str
        What to say where a length lacks one.
    refused : mapping of str to str
        Code -> reason, for readings that what was said of the picture rules out.

    Returns
    -------
    dict of str to str
        Code -> reason: the landmarks it needs, or ``"no scale: ..."``.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> from referral.core.measure.views import LATEROMEDIAL
    >>> names = ["p3_tip", "toe", "heel"]
    >>> why = absent_reasons(LATEROMEDIAL, names, shod="no", in_mm=False, scale=no_scale())
    >>> why["bearing_length_mm"]
    'needs ground_palmar and ground_dorsal'
    """
    absent = {}
    for code, needs in view.needs.items():
        reason = lacking(_all_needs(view, code, needs, names, in_mm=in_mm), names)
        if reason is None and shod != "no" and code in ON_BEARING_LINE:
            reason = lacking(BEARING, names)
        if reason is None and code.endswith("_mm") and not in_mm:
            reason = _unscaled(scale, no_scale)
        reason = reason or refused.get(code) or view.beyond.get(code)
        if reason is not None:
            absent[code] = reason
    return absent


def no_way_up(view: View) -> str:
    """Return what a view lacks when nothing tells up from down.

    Examples
    --------
    >>> from referral.core.measure.views import LATEROMEDIAL
    >>> no_way_up(LATEROMEDIAL)
    'needs a landmark above the ground, such as p3_tip, to know which way is up'
    """
    return f"needs a landmark above the ground, such as {view.above[0]}, to know which way is up"


def photo_no_scale(names: Collection[str], length_mm: float | None) -> str:
    """Return why a photo has no scale, from which of its ends and its length are there.

    Examples
    --------
    >>> photo_no_scale(["toe", "scale_a", "scale_b"], None)
    'no scale: say how long it is from scale_a to scale_b'
    """
    if length_mm is not None:
        return NO_ENDS
    return NO_LENGTH if set(SCALE_ENDS) <= set(names) else NO_PHOTO_SCALE


def refused_readings(*, cannon_vertical: bool | None) -> Mapping[str, str]:
    """Return the readings that what was said of the picture rules out, with the reason.

    Examples
    --------
    >>> refused_readings(cannon_vertical=False)["plumb_to_heel_mm"]
    'the cannon does not stand vertical'
    """
    if cannon_vertical:
        return NOTHING
    why = CANNON_UNSAID if cannon_vertical is None else CANNON_LEANS
    return MappingProxyType({PLUMB: why})


def _all_needs(
    view: View, code: str, needs: Needs, names: Collection[str], *, in_mm: bool
) -> Needs:
    if in_mm:
        return needs
    stand_in = view.stand_in
    if code in view.ground_free and stand_in is not None:
        others = {stand_in.rear, stand_in.front, stand_in.above}
        if others <= set(names):
            return needs
    return needs + tuple(name for name in view.frame if name not in needs)


def _unscaled(scale: Scale, no_scale: str) -> str | None:
    if scale.row_mm is not None:
        return None
    return CONFLICT if scale.conflict else no_scale
