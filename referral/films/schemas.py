"""The forms of films: add one, place its landmarks and scale, type readings."""

import json
import math
from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate
from werkzeug.datastructures import MultiDict

from referral.cases.choices import LIMBS, codes
from referral.core.measure.registry import MEASURES
from referral.core.measure.stated import StatedValue
from referral.errors import Invalid
from referral.web.forms import SUMMARY, DateField, DecimalField

VIEWS = (
    ("lateromedial", "From the side (lateromedial)"),
    ("dorsopalmar", "From the front (dorsopalmar, dorsoplantar)"),
    ("sole_photo", "Photo of the sole"),
    ("side_photo", "Photo from the side"),
    ("front_photo", "Photo from the front"),
)
TRIMS = (
    ("before", "Before the trim"),
    ("after", "After the trim"),
    ("unknown", "Not known"),
)
SHOD = (("no", "Bare"), ("yes", "Shod"), ("unknown", "Not known"))
YES_NO = (("yes", "Yes"), ("no", "No"), ("unknown", "Cannot say"))
SAID: Mapping[str, bool | None] = {"yes": True, "no": False, "unknown": None}
SCALE_STATES = (
    ("marker", "A marker of known length on the film"),
    ("corrected", "Corrected by the maker of the machine"),
    ("estimated", "Estimated from distances"),
    ("none", "No scale"),
    ("external", "Measured on the foot itself"),
)
PLANES = (
    ("sagittal", "In the middle plane of the foot"),
    ("tube_side", "Nearer the tube than the middle"),
    ("plate_side", "Nearer the plate than the middle"),
    ("unknown", "Not known"),
)
"""Where the marker lay, in the words of the core's marker scale."""

MOST_POINTS = 12
MOST_JSON_LETTERS = 20_000
LARGEST_SKEW = 0.005
"""Largest difference of proportions between the served picture and the original."""


def _yes_no() -> fields.String:
    return fields.String(load_default="unknown", validate=validate.OneOf(codes(YES_NO)))


class FilmForm(Schema):
    """What is said of a film or photo as it is added."""

    limb = fields.String(required=True, validate=validate.OneOf(codes(LIMBS)))
    view = fields.String(required=True, validate=validate.OneOf(codes(VIEWS)))
    taken_on = DateField(required=True)
    trim = fields.String(required=True, validate=validate.OneOf(codes(TRIMS)))
    shod = fields.String(required=True, validate=validate.OneOf(codes(SHOD)))
    superimposed = _yes_no()
    cannon_vertical = _yes_no()
    on_blocks = _yes_no()
    beam_at_sole = _yes_no()
    days_since_trim = fields.Integer(load_default=None, validate=validate.Range(0, 400))


class PointsField(fields.Field[dict[str, Any]]):
    """Landmarks as JSON: name to [x, y], or to a list of points, in the original's pixels."""

    def _deserialize(
        self,
        value: Any,  # noqa: ANN401 - whatever was sent
        attr: str | None,  # noqa: ARG002 - the library's signature
        data: Mapping[str, Any] | None,  # noqa: ARG002 - the library's signature
        **kwargs: Any,  # noqa: ANN401, ARG002 - the library's signature
    ) -> dict[str, Any]:
        given = parsed(value)
        if not isinstance(given, dict):
            raise ValidationError("The landmarks could not be read; place them again.")
        return {str(name): _place(name, at) for name, at in given.items()}


class EndsField(fields.Field[list[list[float]]]):
    """The two ends of a marker as JSON, in the original's pixels; empty means none."""

    def _deserialize(
        self,
        value: Any,  # noqa: ANN401 - whatever was sent
        attr: str | None,  # noqa: ARG002 - the library's signature
        data: Mapping[str, Any] | None,  # noqa: ARG002 - the library's signature
        **kwargs: Any,  # noqa: ANN401, ARG002 - the library's signature
    ) -> list[list[float]]:
        given = parsed(value)
        if given in (None, []):
            return []
        if not isinstance(given, list) or len(given) != 2:  # noqa: PLR2004 - a rod has two ends
            raise ValidationError("Place both ends of the marker, or neither.")
        return [_point("marker", each) for each in given]


def parsed(value: object) -> object:
    """Return JSON that came as text or as JSON already.

    Raises
    ------
    ValidationError
        If the text is no JSON, or far too long.
    """
    if not isinstance(value, str):
        return value
    if len(value) > MOST_JSON_LETTERS:
        raise ValidationError("This is far more than one film has.")
    try:
        return json.loads(value)
    except ValueError as error:
        raise ValidationError("This could not be read; place it again.") from error


def _place(name: object, at: object) -> object:
    if isinstance(at, list) and at and isinstance(at[0], list):
        if len(at) > MOST_POINTS:
            raise ValidationError(f"{name}: at most {MOST_POINTS} points.")
        return [_point(name, each) for each in at]
    return _point(name, at)


def _point(name: object, at: object) -> list[float]:
    numbers = at if isinstance(at, list) else []
    usable = len(numbers) == 2 and all(  # noqa: PLR2004 - x and y
        isinstance(each, int | float) and not isinstance(each, bool) and math.isfinite(each)
        for each in numbers
    )
    if not usable:
        raise ValidationError(f"{name}: a place is two numbers, x and y.")
    return [float(each) for each in numbers]


class MeasureForm(Schema):
    """Landmarks and, if it is set here, the marker."""

    landmarks = PointsField(load_default=dict)
    marker_ends = EndsField(load_default=list)
    marker_length_mm = DecimalField("mm", minimum=5, maximum=500, load_default=None)
    marker_plane = fields.String(load_default=None, validate=validate.OneOf(codes(PLANES)))
    marker_offset_mm = DecimalField("mm", minimum=1, maximum=200, load_default=None)
    sid_mm = DecimalField("mm", minimum=300, maximum=3000, load_default=None)
    oid_mm = DecimalField("mm", minimum=1, maximum=800, load_default=None)
    detector_sid_mm = DecimalField("mm", minimum=300, maximum=3000, load_default=None)
    detector_oid_mm = DecimalField("mm", minimum=1, maximum=800, load_default=None)
    known_length_mm = DecimalField("mm", minimum=5, maximum=500, load_default=None)
    scale_withdrawn = fields.Boolean(load_default=False)
    natural_width = DecimalField(minimum=1, maximum=100_000, load_default=None)
    natural_height = DecimalField(minimum=1, maximum=100_000, load_default=None)


class ReadingsForm(Schema):
    """What goes with readings that are typed by hand; the readings are fields of their own."""

    limb = fields.String(required=True, validate=validate.OneOf(codes(LIMBS)))
    taken_on = DateField(required=True)
    scale = fields.String(load_default=None, validate=validate.OneOf(codes(SCALE_STATES)))


POSSIBLE: Mapping[str, tuple[float, float]] = {
    "deg": (-90, 180),
    "mm": (-150, 400),
    "percent": (0, 100),
    "ratio": (0, 20),
}
"""What a reading of a foot may be at all, by its unit; beyond it, it was mistyped."""


def typed_values(form: MultiDict[str, str], scale: str | None) -> dict[str, StatedValue]:
    """Return the readings that were typed in, each a number a foot can have.

    Raises
    ------
    Invalid
        With a sentence for each reading at fault.
    """
    values: dict[str, StatedValue] = {}
    faults: dict[str, list[str]] = {}
    for code, measure in MEASURES.items():
        text = form.get(code, "").strip()
        if not text:
            continue
        least, most = POSSIBLE[measure.unit]
        field = DecimalField(measure.unit, minimum=least, maximum=most)
        try:
            values[code] = StatedValue(value=field.deserialize(text), scale=scale)
        except ValidationError as error:
            faults[code] = [str(each) for each in error.messages]
    if faults:
        raise Invalid(SUMMARY, faults)
    return values
