"""The forms of the stock: a kind of shoe, a foot that wants one, a list that is taken in."""

from typing import Any

from marshmallow import Schema, fields, validate

from referral.shoes.choices import CATEGORIES, MATERIALS
from referral.shoes.fit import USUAL_EXTENSION_MM
from referral.web.forms import DecimalField

MOST_ON_A_SHELF = 9999
WAYS = (
    ("add", "Put it beside what stands in the list"),
    ("in_place", "Put it in the place of the whole list"),
)


def _mm(least: float, most: float, **more: Any) -> DecimalField:  # noqa: ANN401 - handed to marshmallow
    return DecimalField("mm", minimum=least, maximum=most, **more)


def _one_of(options: tuple[tuple[str, str], ...]) -> fields.String:
    known = validate.OneOf(
        [code for code, _label in options], error="Choose one of the words that this list knows."
    )
    return fields.String(required=True, validate=known)


class StockForm(Schema):
    """One kind of shoe: what it is, its measures, how many there are."""

    forge = fields.UUID(load_default=None)
    category = _one_of(CATEGORIES)
    material = _one_of(MATERIALS)
    size_label = fields.String(load_default=None, validate=validate.Length(max=40))
    length_mm = _mm(60, 300, required=True)
    width_mm = _mm(60, 250, required=True)
    web_mm = _mm(8, 60, required=True)
    thickness_mm = _mm(2, 60, required=True)
    count = fields.Integer(
        required=True,
        validate=validate.Range(0, MOST_ON_A_SHELF),
        error_messages={"invalid": "Write a whole number, nought for none."},
    )
    note = fields.String(load_default=None, validate=validate.Length(max=200))


class FootForm(Schema):
    """A trimmed foot's length and width, and how far its shoe is to reach behind it."""

    foot_length_mm = _mm(60, 250, required=True)
    foot_width_mm = _mm(60, 250, required=True)
    heel_extension_mm = _mm(-20, 60, load_default=USUAL_EXTENSION_MM)


class ListForm(Schema):
    """How a list is taken in."""

    forge = fields.UUID(load_default=None)
    way = fields.String(required=True, validate=validate.OneOf([code for code, _label in WAYS]))


class NothingMore(Schema):
    """A form that has only a button."""
