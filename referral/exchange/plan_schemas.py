"""The plan of a worksheet, and what was fitted, which has the same keys."""

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, post_load, validates_schema

from referral.cases.choices import codes
from referral.core.predict.plan import Plan
from referral.exchange.faults import shown
from referral.exchange.fields import (
    Day,
    Many,
    Number,
    Part,
    StrictField,
    StrictSchema,
    Text,
    Word,
    YesNo,
    read_part,
    refuse,
)
from referral.plans.content import plan_from_content
from referral.plans.schemas import (
    ATTACHMENTS,
    CATEGORIES,
    FROG_PLATES,
    HOLES_A_BRANCH,
    MATERIALS,
    SURFACES,
)

MOST_NAILS, MOST_CLIPS = 20, 12
SHOE_EXAMPLE = '{"category": "open", "thickness_mm": 10}'
HOLES = [f"{branch}{place}" for branch in "ML" for place in range(1, HOLES_A_BRANCH + 1)]
CLIP_PLACES = ("toe", "quarter", "heel_quarter", "side", "heel")


def _mm(most: float, least: float = 0.0) -> Number:
    return Number(least, most, "mm")


def _unsaid_mm(most: float, least: float = 0.0) -> Number:
    return Number(least, most, "mm", load_default=None, allow_none=True)


def _unsaid_word(options: tuple[tuple[str, str], ...]) -> Word:
    return Word(codes(options), load_default=None, allow_none=True)


class ShoeSchema(StrictSchema):
    """A shoe by generic trade category."""

    category = Word([code for code in codes(CATEGORIES) if code], required=True)
    material = _unsaid_word(MATERIALS)
    size_label = Text(40, load_default=None, allow_none=True)
    web_mm = _unsaid_mm(80)
    thickness_mm = _mm(100)
    width_mm = _unsaid_mm(300)
    length_mm = _unsaid_mm(400)
    breakover_setback_mm = _mm(100, -50)
    heel_extension_mm = _mm(100, -50)
    medial_extension_mm = _mm(60, -30)
    lateral_extension_mm = _mm(60, -30)
    sole_clearance_mm = _unsaid_mm(50)
    frog_plate = _unsaid_word(FROG_PLATES)
    frog_plate_height_mm = _unsaid_mm(40, -40)


class NailsSchema(StrictSchema):
    """How many nails, how far apart, and how far back."""

    count = Number(0, MOST_NAILS, "nails", whole=True, load_default=None, allow_none=True)
    holes = Many(
        Word(HOLES).read,
        len(HOLES),
        "a list of nail holes is wanted, M1 to M6 and L1 to L6",
        load_default=(),
    )
    spacing_mm = _unsaid_mm(150)
    last_behind_widest_mm = _unsaid_mm(150, -150)


class ClipSchema(StrictSchema):
    """One clip."""

    position = Word(CLIP_PLACES, required=True)
    crack_distance_mm = _unsaid_mm(200)


class ExecutionSchema(StrictSchema):
    """How surely the plan is carried out, as standard uncertainties."""

    trim_mm = _mm(10)
    wedge_deg = Number(0, 5, "degrees")
    breakover_mm = _mm(10)
    length_mm = _mm(10)


class ExecutionField(StrictField):
    """Nought, or an object of standard uncertainties."""

    def __init__(self, **more: Any) -> None:  # noqa: ANN401 - the library's own keywords
        keys = ", ".join(ExecutionSchema().fields)
        super().__init__(f"0, or an object of {keys}, is wanted", **more)

    def read(self, value: Any) -> dict[str, float] | None:  # noqa: ANN401 - any JSON value
        """Return the object, or ``None`` for nought."""
        if isinstance(value, dict):
            found: dict[str, float] = read_part(ExecutionSchema(), value, self.wanted)
            return found
        if isinstance(value, bool) or value != 0:
            refuse(f"{shown(value)} is neither", self.wanted)
        return None


class PlanSchema(StrictSchema):
    """What is to be done, or was done, to one foot. A trim left out is none."""

    toe_trim_mm = _mm(60)
    heel_trim_mm = _mm(60)
    heel_trim_medial_mm = _unsaid_mm(60)
    heel_trim_lateral_mm = _unsaid_mm(60)
    toe_dress_mm = _mm(40)
    sole_pare_mm = _mm(30)
    wedge_deg = Number(-30, 30, "degrees")
    wedge_mm = _unsaid_mm(100, -100)
    wedge_length_mm = _unsaid_mm(400, 10)
    pad_mm = _mm(60)
    bevel_setback_mm = _unsaid_mm(100)
    packing = Text(120, load_default=None, allow_none=True)
    shoe = Part(ShoeSchema, SHOE_EXAMPLE, load_default=None, allow_none=True)
    nails = Part(NailsSchema, '{"count": 6}', load_default=None, allow_none=True)
    clips = Many(
        lambda clip: read_part(ClipSchema(), clip, '{"position": "quarter"}'),
        MOST_CLIPS,
        f"a list of at most {MOST_CLIPS} clips is wanted",
        load_default=(),
    )
    attachment = _unsaid_word(ATTACHMENTS)
    surface = _unsaid_word(SURFACES)
    interval_weeks = Number(0.5, 26, "weeks", load_default=None, allow_none=True)
    fit_on = Day(load_default=None, allow_none=True)
    reason = Text(load_default=None, allow_none=True)
    execution_u = ExecutionField(load_default=None)
    growth_since_film = YesNo(load_default=False)

    @validates_schema
    def check_sides(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse a heel trim that is said once for both sides and once for each."""
        sides = [data["heel_trim_medial_mm"], data["heel_trim_lateral_mm"]]
        if "heel_trim_mm" in data and None not in sides:
            raise ValidationError(
                "both sides are given too; give heel_trim_mm, or a trim for each side",
                "heel_trim_mm",
            )

    @post_load
    def to_plan(self, data: dict[str, Any], **_: Any) -> Plan:  # noqa: ANN401 - the library's signature
        """Return the plan."""
        return plan_from_content(data)
