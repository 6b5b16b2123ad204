"""The forms of plans: one limb in numbers, the plan as a whole, review, consent."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema
from werkzeug.datastructures import MultiDict

from referral.cases.choices import codes
from referral.cases.schemas import words
from referral.core.predict.along import square_mm
from referral.errors import Invalid
from referral.plans.content import PAGE_EXECUTION
from referral.shoes import choices
from referral.web.forms import SUMMARY, DateField, DecimalField, load_form, load_json

CATEGORIES = (("", "Barefoot"), *choices.CATEGORIES)
MATERIALS = choices.MATERIALS
ATTACHMENTS = (
    ("nails", "Nails"),
    ("glue", "Glue"),
    ("screws", "Screws"),
    ("cast", "Cast"),
    ("none", "Not attached"),
)
SURFACES = (("firm", "Firm"), ("yielding", "Yielding"), ("mixed", "Mixed"))
FROG_PLATES = (("positive", "Positive"), ("neutral", "Neutral"), ("negative", "Negative"))
CLIPS: Mapping[str, tuple[str, ...]] = {
    "none": (),
    "toe": ("toe",),
    "quarters": ("quarter", "quarter"),
    "sides": ("side", "side"),
    "heel_quarters": ("heel_quarter", "heel_quarter"),
    "toe_and_quarters": ("toe", "quarter", "quarter"),
}
"""A layout of clips and where each of them sits."""

CLIP_LAYOUTS = tuple((code, code.replace("_", " ").capitalize()) for code in CLIPS)
TRIM_ALONG = (
    ("square", "Square to the bearing surface"),
    ("wall", "Along the wall"),
)
HOLES_A_BRANCH = 6
MOST_CASES = 2**31 - 1
"""No case has a higher number: no column of the database holds one."""
HOLE = re.compile(rf"[ML][1-{HOLES_A_BRANCH}]")
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
    "frog_plate_height_mm",
    "sole_clearance_mm",
)
NAIL_FIELDS: Mapping[str, str] = {
    "nail_count": "count",
    "nail_spacing_mm": "spacing_mm",
    "last_nail_behind_widest_mm": "last_behind_widest_mm",
    "nail_holes": "holes",
}
"""A field of the form and its key in the plan's ``nails``."""

BETWEEN = "-"
"""Stands between a limb and a field in a form: LF-heel_trim_mm."""


def _mm(most: float, least: float = 0.0) -> DecimalField:
    return DecimalField("mm", minimum=least, maximum=most, load_default=None)


def _one_of(options: tuple[tuple[str, str], ...]) -> fields.String:
    return fields.String(load_default=None, validate=validate.OneOf(codes(options)))


class HolesField(fields.Field[list[str]]):
    """Nail holes as typed or tapped: M1 M2 L1 L3, M the inner branch, L the outer one."""

    def _deserialize(
        self,
        value: Any,  # noqa: ANN401 - whatever was sent
        attr: str | None,  # noqa: ARG002 - the library's signature
        data: Mapping[str, Any] | None,  # noqa: ARG002 - the library's signature
        **kwargs: Any,  # noqa: ANN401, ARG002 - the library's signature
    ) -> list[str]:
        holes = str(value).upper().replace(",", " ").split()
        strange = [each for each in holes if not HOLE.fullmatch(each)]
        if strange:
            raise ValidationError(
                f"{strange[0][:12]} is no hole: M1 to M{HOLES_A_BRANCH} stand on the inner branch "
                f"from the toe, L1 to L{HOLES_A_BRANCH} on the outer one."
            )
        return sorted(set(holes))


class LimbForm(Schema):
    """The plan for one limb."""

    toe_trim_mm = _mm(30)
    heel_trim_mm = _mm(30)
    heel_trim_medial_mm = _mm(30)
    heel_trim_lateral_mm = _mm(30)
    trim_along = _one_of(TRIM_ALONG)
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
    frog_plate_height_mm = _mm(40, -40)
    sole_clearance_mm = _mm(30)
    wedge_deg = DecimalField("°", minimum=-15, maximum=15, load_default=None)
    wedge_mm = _mm(50, -50)
    wedge_length_mm = _mm(400, 10)
    bevel_setback_mm = _mm(80)
    pad_mm = _mm(40)
    packing = fields.String(load_default=None, validate=validate.Length(max=120))
    attachment = _one_of(ATTACHMENTS)
    nail_count = fields.Integer(load_default=None, validate=validate.Range(0, 16))
    nail_holes = HolesField(load_default=None)
    nail_spacing_mm = _mm(150)
    last_nail_behind_widest_mm = _mm(150, -150)
    clips = _one_of(CLIP_LAYOUTS)
    clip_crack_mm = _mm(200)
    surface = _one_of(SURFACES)
    interval_weeks = DecimalField("weeks", minimum=0.5, maximum=16, load_default=None)
    reason = fields.String(load_default=None, validate=validate.Length(max=1000))

    @validates_schema
    def check(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse what says one thing twice in two ways."""
        sides = (data["heel_trim_medial_mm"], data["heel_trim_lateral_mm"])
        if data["heel_trim_mm"] is not None and sides != (None, None):
            raise ValidationError("Give the heels one trim, or one for each side.", "heel_trim_mm")
        if (sides[0] is None) != (sides[1] is None):
            raise ValidationError("Give both sides, nought for none.", "heel_trim_medial_mm")
        holes, count = data["nail_holes"], data["nail_count"]
        if holes and count is not None and len(holes) != count:
            raise ValidationError(f"{len(holes)} holes are marked.", "nail_count")


class PlanForm(Schema):
    """What a plan says beside its limbs."""

    words = words()
    fit_on = DateField(load_default=None)
    recheck_owner = fields.String(load_default=None, validate=validate.OneOf(["vet", "farrier"]))
    recheck_on = DateField(load_default=None)


class WindowForm(Schema):
    """What a window is asked about, as JSON; a form sends the plan's own fields in its place."""

    case = fields.Integer(required=True, strict=True, validate=validate.Range(1, MOST_CASES))
    draw = fields.Boolean(load_default=False)
    limbs = fields.Dict(
        keys=fields.String(), values=fields.Raw(), required=True, validate=validate.Length(1, 4)
    )
    fit_on = DateField(load_default=None)
    recheck_owner = fields.String(load_default=None, validate=validate.OneOf(["vet", "farrier"]))
    recheck_on = DateField(load_default=None)
    words = words()


class DrawnForm(Schema):
    """What the plan form sends beside its own fields when it asks for its window."""

    case = fields.Integer(required=True, validate=validate.Range(1, MOST_CASES))
    draw = fields.Boolean(load_default=False)


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
    words = words()


class CautionsForm(Schema):
    """Cautions that may stay folded, and why."""

    findings = fields.List(fields.UUID(), load_default=list)
    reason = words()


class ReviewForm(Schema):
    """What the vet says to a plan besides the answers to its findings."""

    words = words()
    seen_sha256 = fields.String(required=True, validate=validate.Length(equal=64))


@dataclass(frozen=True, slots=True)
class Walls:
    """The angles of a limb's walls to the bearing surface, degrees; None where not known."""

    toe_deg: float | None = None
    heel_deg: float | None = None


NO_WALLS: Mapping[str, Walls] = {}
WALL_UNKNOWN = "The angle of this wall is not known; give the trim square to the bearing surface."
TRIMMED_BY: Mapping[str, str] = {
    "toe_trim_mm": "toe_deg",
    "heel_trim_mm": "heel_deg",
    "heel_trim_medial_mm": "heel_deg",
    "heel_trim_lateral_mm": "heel_deg",
}
"""A trim and the wall that it is measured along."""


def squared(given: Mapping[str, Any], walls: Walls) -> dict[str, Any]:
    """Return a limb's form with trims given along the wall turned square to the bearing surface.

    Raises
    ------
    Invalid
        If a wall's angle is wanted and not known.
    """
    content = dict(given)
    if content.pop("trim_along") != "wall":
        return content
    for name, wall in TRIMMED_BY.items():
        angle_deg = getattr(walls, wall)
        if not content[name]:
            continue
        if angle_deg is None:
            raise Invalid(SUMMARY, {name: [WALL_UNKNOWN]})
        content[name] = round(square_mm(content[name], angle_deg), 2)
    return content


def load_limbs(
    form: MultiDict[str, str],
    limbs: tuple[str, ...],
    fit_on: Any,  # noqa: ANN401 - a day or None
    walls: Mapping[str, Walls] = NO_WALLS,
) -> Mapping[str, Mapping[str, Any]]:
    """Return each limb's content in the worksheet's keys; ``walls`` are each limb's own.

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
            if name.startswith(start) and not name.startswith(f"{start}reason_")
        )
        try:
            given = squared(load_form(LimbForm(), part), walls.get(limb, Walls()))
            contents[limb] = content_of(given, fit_on)
        except Invalid as error:
            faults.update({start + name: said for name, said in error.faults.items()})
    if faults:
        raise Invalid(SUMMARY, faults)
    return contents


NOT_REFERRED = "No plan is asked for this limb."


def limbs_from_json(
    given: Mapping[str, Any],
    limbs: Sequence[str],
    fit_on: date | None,
    walls: Mapping[str, Walls] = NO_WALLS,
) -> Mapping[str, Mapping[str, Any]]:
    """Return each limb's content as `load_limbs` does, from JSON by limb and field.

    Raises
    ------
    Invalid
        With the faults of every limb, keyed ``limbs.LF.toe_trim_mm``.
    """
    contents: dict[str, Mapping[str, Any]] = {}
    faults: dict[str, list[str]] = {}
    for limb, part in given.items():
        at = f"limbs.{limb}"
        if limb not in limbs:
            faults[at] = [NOT_REFERRED]
            continue
        try:
            squares = squared(load_json(LimbForm(), part), walls.get(limb, Walls()))
            contents[limb] = content_of(squares, fit_on)
        except Invalid as error:
            faults.update({f"{at}.{name}".rstrip("."): said for name, said in error.faults.items()})
    if faults:
        raise Invalid(SUMMARY, faults)
    return contents


NOT_PLAIN = frozenset({*SHOE_FIELDS, *NAIL_FIELDS, "category", "clips", "clip_crack_mm"})


def content_of(given: Mapping[str, Any], fit_on: Any) -> dict[str, Any]:  # noqa: ANN401 - a day or None
    """Return a limb's form as the worksheet's plan object; what was left out is left out."""
    content = {
        key: value for key, value in given.items() if value is not None and key not in NOT_PLAIN
    }
    if given["category"]:
        shoe = {key: given[key] for key in SHOE_FIELDS if given[key] is not None}
        content["shoe"] = {"category": given["category"], **shoe}
    nails = {key: given[name] for name, key in NAIL_FIELDS.items() if given[name] is not None}
    if nails.get("holes"):
        nails["count"] = len(nails["holes"])
    if nails:
        content["nails"] = nails
    if given["clips"]:
        crack = {"crack_distance_mm": given["clip_crack_mm"]}
        content["clips"] = [{"position": each, **crack} for each in CLIPS[given["clips"]]]
    if fit_on is not None:
        content["fit_on"] = fit_on.isoformat()
    return {**content, "execution_u": dict(PAGE_EXECUTION)}


def typed_from(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return a stored plan as the form's fields, to start the next one from."""
    shoe, nails = content.get("shoe") or {}, content.get("nails") or {}
    typed = {key: shoe.get(key) for key in SHOE_FIELDS}
    typed["category"] = shoe.get("category", "")
    typed.update({name: nails.get(key) for name, key in NAIL_FIELDS.items()})
    typed["nail_holes"] = " ".join(nails.get("holes") or ()) or None
    typed.update(_clips_from(content))
    for name in LimbForm().fields:
        typed.setdefault(name, content.get(name))
    typed["trim_along"] = "square"
    return {key: _shown(value) for key, value in typed.items()}


def _clips_from(content: Mapping[str, Any]) -> dict[str, Any]:
    clips = content.get("clips")
    if clips is None:
        return {"clips": None, "clip_crack_mm": None}
    places = tuple(sorted(each["position"] for each in clips))
    layout = next((code for code, at in CLIPS.items() if tuple(sorted(at)) == places), None)
    crack = clips[0].get("crack_distance_mm") if clips else None
    return {"clips": layout, "clip_crack_mm": crack}


def _shown(value: Any) -> Any:  # noqa: ANN401 - a JSON value
    return f"{value:g}" if isinstance(value, float) else value
