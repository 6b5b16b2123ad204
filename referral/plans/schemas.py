"""The forms of plans: one limb in numbers, the plan as a whole, review, consent."""

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields, validate
from werkzeug.datastructures import MultiDict

from referral.cases.choices import codes
from referral.cases.schemas import words
from referral.errors import Invalid
from referral.plans.content import PAGE_EXECUTION
from referral.web.forms import SUMMARY, DateField, DecimalField, load_form

CATEGORIES = (
    ("", "Barefoot"),
    ("open", "Open shoe"),
    ("wide_web", "Wide web"),
    ("rolled_toe", "Rolled toe"),
    ("rocker_toe", "Rocker toe"),
    ("set_back_toe", "Set-back (squared) toe"),
    ("full_roller", "Bevelled all round"),
    ("reverse", "Reverse (open toe)"),
    ("open_toe_bar", "Open-toe bar"),
    ("straight_bar", "Straight bar"),
    ("egg_bar", "Egg bar"),
    ("heart_bar", "Heart bar"),
    ("egg_heart", "Egg-heart bar"),
    ("z_bar", "Z-bar"),
    ("diagonal_bar", "Diagonal bar"),
    ("half_bar", "Half bar"),
    ("graduated", "Graduated (wedge) shoe"),
    ("patten", "Patten (raised heel)"),
    ("wooden_block", "Wooden block shoe"),
    ("hospital_plate", "Treatment plate shoe"),
)
MATERIALS = (("steel", "Steel"), ("aluminium", "Aluminium"), ("wood", "Wood"), ("other", "Other"))
ATTACHMENTS = (
    ("nails", "Nails"),
    ("glue", "Glue"),
    ("screws", "Screws"),
    ("cast", "Cast"),
    ("none", "Not attached"),
)
SURFACES = (("firm", "Firm"), ("yielding", "Yielding"), ("mixed", "Mixed"))
FROG_PLATES = (("positive", "Positive"), ("neutral", "Neutral"), ("negative", "Negative"))
SHOE_FIELDS = (
    "material",
    "size_label",
    "web_mm",
    "thickness_mm",
    "width_mm",
    "length_mm",
    "breakover_setback_mm",
    "heel_extension_mm",
    "medial_extension_mm",
    "lateral_extension_mm",
    "frog_plate",
    "sole_clearance_mm",
)
BETWEEN = "-"
"""Stands between a limb and a field in a form: LF-heel_trim_mm."""


def _mm(most: float, least: float = 0.0) -> DecimalField:
    return DecimalField("mm", minimum=least, maximum=most, load_default=None)


def _one_of(options: tuple[tuple[str, str], ...]) -> fields.String:
    return fields.String(load_default=None, validate=validate.OneOf(codes(options)))


class LimbForm(Schema):
    """The plan for one limb."""

    toe_trim_mm = _mm(30)
    heel_trim_mm = _mm(30)
    toe_dress_mm = _mm(30)
    sole_pare_mm = _mm(15)
    category = _one_of(CATEGORIES)
    material = _one_of(MATERIALS)
    size_label = fields.String(load_default=None, validate=validate.Length(max=40))
    web_mm = _mm(60)
    thickness_mm = _mm(60)
    width_mm = _mm(250)
    length_mm = _mm(300)
    breakover_setback_mm = _mm(80)
    heel_extension_mm = _mm(60, -20)
    medial_extension_mm = _mm(40, -10)
    lateral_extension_mm = _mm(40, -10)
    frog_plate = _one_of(FROG_PLATES)
    sole_clearance_mm = _mm(30)
    wedge_deg = DecimalField("°", minimum=-15, maximum=15, load_default=None)
    wedge_mm = _mm(50, -50)
    pad_mm = _mm(40)
    packing = fields.String(load_default=None, validate=validate.Length(max=120))
    attachment = _one_of(ATTACHMENTS)
    nail_count = fields.Integer(load_default=None, validate=validate.Range(0, 16))
    surface = _one_of(SURFACES)
    interval_weeks = DecimalField("weeks", minimum=0.5, maximum=16, load_default=None)


class PlanForm(Schema):
    """What a plan says beside its limbs."""

    words = words()
    fit_on = DateField(load_default=None)
    recheck_owner = fields.String(load_default=None, validate=validate.OneOf(["vet", "farrier"]))
    recheck_on = DateField(load_default=None)


class ConsentForm(Schema):
    """The owner's answer, however it was given."""

    decision = fields.String(required=True, validate=validate.OneOf(["given", "declined"]))
    given_by = fields.String(required=True, validate=validate.Length(max=80))
    authority = fields.String(required=True, validate=validate.Length(max=80))
    how = fields.String(
        required=True,
        validate=validate.OneOf(["on this page", "in person", "by telephone", "in writing"]),
    )
    given_on = DateField(required=True)
    cost = words()
    resets_expected = fields.String(load_default=None, validate=validate.Length(max=80))
    risks = words()
    outlook = words()


class ReviewForm(Schema):
    """What the vet says to a plan besides the answers to its findings."""

    words = words()
    seen_sha256 = fields.String(required=True, validate=validate.Length(equal=64))


def load_limbs(
    form: MultiDict[str, str],
    limbs: tuple[str, ...],
    fit_on: Any,  # noqa: ANN401 - a day or None
) -> Mapping[str, Mapping[str, Any]]:
    """Return each limb's content in the worksheet's keys.

    Raises
    ------
    Invalid
        With the faults of every limb, keyed as the form's fields are.
    """
    contents: dict[str, Mapping[str, Any]] = {}
    faults: dict[str, list[str]] = {}
    for limb in limbs:
        start = limb + BETWEEN
        part = MultiDict(
            (name.removeprefix(start), value)
            for name, value in form.items(multi=True)
            if name.startswith(start) and not name.startswith(f"{start}reason")
        )
        try:
            contents[limb] = content_of(load_form(LimbForm(), part), fit_on)
        except Invalid as error:
            faults.update({start + name: said for name, said in error.faults.items()})
    if faults:
        raise Invalid(SUMMARY, faults)
    return contents


def content_of(given: Mapping[str, Any], fit_on: Any) -> dict[str, Any]:  # noqa: ANN401 - a day or None
    """Return a limb's form as the worksheet's plan object; what was left out is left out."""
    content = {
        key: value
        for key, value in given.items()
        if value is not None and key not in {*SHOE_FIELDS, "category", "nail_count"}
    }
    if given["category"]:
        shoe = {key: given[key] for key in SHOE_FIELDS if given[key] is not None}
        content["shoe"] = {"category": given["category"], **shoe}
    if given["nail_count"] is not None:
        content["nails"] = {"count": given["nail_count"]}
    if fit_on is not None:
        content["fit_on"] = fit_on.isoformat()
    return {**content, "execution_u": dict(PAGE_EXECUTION)}


def typed_from(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return a stored plan as the form's fields, to start the next one from."""
    shoe = content.get("shoe") or {}
    typed = {key: shoe.get(key) for key in SHOE_FIELDS}
    typed["category"] = shoe.get("category", "")
    typed["nail_count"] = (content.get("nails") or {}).get("count")
    for name in LimbForm().fields:
        typed.setdefault(name, content.get(name))
    return {key: _shown(value) for key, value in typed.items()}


def _shown(value: Any) -> Any:  # noqa: ANN401 - a JSON value
    return f"{value:g}" if isinstance(value, float) else value
