"""A plan's own shoe as an outline, and the foot it is to lie on."""

from collections.abc import Mapping
from typing import Any

from referral.core.measure.readings import Measured
from referral.errors import Invalid
from referral.shoes.fit import USUAL_EXTENSION_MM, Foot
from referral.shoes.outline import ShoeShape

NO_SHOE = "The plan puts no shoe on this foot."
NO_MEASURES = "The plan gives no {}, so its outline cannot be drawn. Plan it anew with the measure."
FITS_WITHIN_MM = 2.0
"""How far length and planned extension may disagree: the agreed tolerance of lengths."""


def planned_shape(content: Mapping[str, Any]) -> ShoeShape:
    """Return the shoe of a limb's plan.

    Raises
    ------
    Invalid
        If no shoe is planned, or its length or width is not said.
    """
    shoe = content.get("shoe")
    if not shoe:
        raise Invalid(NO_SHOE)
    missing = [name for name in ("length_mm", "width_mm") if not shoe.get(name)]
    if missing:
        said = " and no ".join(each.removesuffix("_mm") for each in missing)
        raise Invalid(NO_MEASURES.format(said))
    return ShoeShape(
        category=shoe["category"],
        length_mm=shoe["length_mm"],
        width_mm=shoe["width_mm"],
        material=shoe.get("material"),
        web_mm=shoe.get("web_mm") or None,
        thickness_mm=shoe.get("thickness_mm") or None,
        breakover_setback_mm=shoe.get("breakover_setback_mm") or 0.0,
        medial_extension_mm=shoe.get("medial_extension_mm") or 0.0,
        lateral_extension_mm=shoe.get("lateral_extension_mm") or 0.0,
    )


def planned_foot(
    content: Mapping[str, Any], prediction: Mapping[str, Any], guides: Measured
) -> Foot | None:
    """Return the trimmed foot as predicted and measured, or None for what is not known of it."""
    length_mm = prediction.get("bearing_length_mm")
    width = guides.readings.get("foot_width_mm")
    if not length_mm or width is None:
        return None
    extension_mm = (content.get("shoe") or {}).get("heel_extension_mm")
    wanted = USUAL_EXTENSION_MM if extension_mm is None else extension_mm
    return Foot(length_mm, float(width.value), wanted)


def like_the_plan(shape: ShoeShape) -> Foot:
    """Return the foot for which exactly the planned shoe is right, to rank the stock by."""
    return Foot(shape.length_mm + shape.toe_back_mm, shape.width_mm, 0.0)


def disagreement(shape: ShoeShape, foot: Foot) -> str:
    """Return a sentence where the shoe's length does not give the extension that is planned."""
    given = shape.length_mm + shape.toe_back_mm - foot.length_mm
    if abs(given - foot.heel_extension_mm) <= FITS_WITHIN_MM:
        return ""
    return (
        f"The plan wants the shoe {foot.heel_extension_mm:.0f} mm behind the trimmed heels; a shoe "
        f"of {shape.length_mm:.0f} mm on a foot of {foot.length_mm:.0f} mm gives {given:.0f} mm."
    )
