"""The form of a reset: what was fitted limb by limb, and the reason of each difference."""

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields, validate
from werkzeug.datastructures import MultiDict

from referral.cases.schemas import words
from referral.errors import Invalid
from referral.plans.schemas import BETWEEN, NAIL_FIELDS, SHOE_FIELDS, LimbForm, load_limbs
from referral.web.fonts import composed
from referral.web.forms import DateField, DecimalField, load_form

INTERVAL = "interval_weeks"
REASON = "reason_"
LONGEST_REASON = 1000
LIMB_FIELDS = tuple(
    name
    for name in LimbForm().fields
    if name not in (INTERVAL, "reason", "clip_crack_mm", "trim_along")
)
"""What is recorded for one limb; the interval is asked once for all of them."""


class ResetForm(Schema):
    """What a reset says beside its limbs."""

    plan_n = fields.Integer(required=True)
    fitted_on = DateField(required=True)
    interval_weeks = DecimalField("weeks", minimum=0.5, maximum=16, required=True)
    reason_interval_weeks = words()
    found = words()
    comfort = words()
    advice = words()


class CorrectionForm(Schema):
    """What is to be put right in the record."""

    words = fields.String(required=True, validate=validate.Length(max=2000))


def plan_field(name: str) -> str:
    """Return where a field of the form stands in a plan: shoe.width_mm, nails.count."""
    if name in SHOE_FIELDS or name == "category":
        return f"shoe.{name}"
    if name in NAIL_FIELDS:
        return f"nails.{NAIL_FIELDS[name]}"
    return name


FORM_FIELDS: Mapping[str, str] = {plan_field(name): name for name in LIMB_FIELDS}


def reason_field(limb: str, name: str) -> str:
    """Return the name of the field that takes the reason of a difference."""
    return f"{REASON}{INTERVAL}" if name == INTERVAL else f"{limb}{BETWEEN}{REASON}{name}"


def load_reset(form: MultiDict[str, str], limbs: tuple[str, ...]) -> dict[str, Any]:
    """Return the form with ``limbs`` in the plan's keys and ``reasons`` keyed LF.heel_trim_mm.

    Raises
    ------
    Invalid
        With a sentence for each field at fault, of all limbs.
    """
    of_limbs = {f"{limb}{BETWEEN}{name}" for limb in limbs for name in LIMB_FIELDS}
    of_reasons = {reason_field(limb, name) for limb in limbs for name in LIMB_FIELDS}
    given: dict[str, Any] = load_form(ResetForm(), form, also=of_limbs | of_reasons)
    contents = load_limbs(form, limbs, given["fitted_on"])
    why_interval = given.pop("reason_interval_weeks")
    reasons = dict(_reasons(form, limbs))
    if why_interval:
        reasons.update({f"{limb}.{INTERVAL}": why_interval for limb in limbs})
    interval = {INTERVAL: given[INTERVAL]}
    return {
        **given,
        "limbs": {limb: {**content, **interval} for limb, content in contents.items()},
        "reasons": reasons,
    }


def _reasons(form: MultiDict[str, str], limbs: tuple[str, ...]) -> Mapping[str, str]:
    said = {}
    for limb in limbs:
        for name in LIMB_FIELDS:
            reason = composed(form.get(reason_field(limb, name), "")).strip()[:LONGEST_REASON]
            if reason:
                said[f"{limb}.{plan_field(name)}"] = reason
    return said


def at_form_fields(error: Invalid) -> Invalid:
    """Return the error with the reasons it asks for at the fields that take them."""
    return Invalid(error.message, {_at(name): said for name, said in error.faults.items()})


def _at(name: str) -> str:
    limb, mark, field = name.removeprefix(REASON).partition(".")
    if not mark or not name.startswith(REASON):
        return name
    return reason_field(limb, FORM_FIELDS.get(field, field))
