"""Why a reading of a film is absent, in the words that stand beside it."""

from collections.abc import Collection

from referral.core.geometry.scale import Scale
from referral.core.measure.needs import Needs, lacking
from referral.core.measure.views import View

BEARING = ("bearing_palmar", "bearing_dorsal")
ON_BEARING_LINE = frozenset({"sole_cup_tip_mm"})
NO_SCALE = "no scale: place a marker of known length on the film, or state its spacing"
CONFLICT = "no scale: the film's sources of scale contradict each other"


def absent_reasons(
    view: View, names: Collection[str], *, shod: str, in_mm: bool, scale: Scale
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
            reason = _unscaled(scale)
        if reason is not None:
            absent[code] = reason
    return absent


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
    return needs + view.ground


def _unscaled(scale: Scale) -> str | None:
    if scale.row_mm is not None:
        return None
    return CONFLICT if scale.conflict else NO_SCALE
