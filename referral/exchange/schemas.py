"""The worksheet's schema: known keys only, plausible numbers, one sentence for each fault."""

from collections.abc import Mapping
from datetime import date
from functools import partial
from typing import Any

from marshmallow import ValidationError, post_load, validates_schema

from referral.cases.choices import CONDITIONS, JURISDICTIONS, codes
from referral.core.measure.readings import Measured, Profile
from referral.core.measure.registry import MEASURES
from referral.core.measure.stated import STATED_SCALES, StatedValue, stated_readings
from referral.core.rules.facts import Facts, Lameness, Opposite, Previous
from referral.core.rules.finding import STAGES, CaseLimit
from referral.core.rules.grid import AGAINST, MOST_WEDGES, Ask
from referral.core.rules.quantities import PLAN_MEASURES
from referral.core.rules.rule import LIMBS
from referral.core.units import UNITS
from referral.exchange.faults import shown, unusable
from referral.exchange.fields import (
    Day,
    Keyed,
    Many,
    Number,
    Numbers,
    Part,
    StrictSchema,
    Text,
    Word,
    YesNo,
    faults_of,
    is_number,
    read_part,
    refuse,
)
from referral.exchange.film_schemas import FilmSchema
from referral.exchange.plan_schemas import PlanSchema
from referral.exchange.worksheet import Worksheet
from referral.horses.choices import ANIMALS

PLAUSIBLE = {"deg": (-90, 120), "mm": (-200, 400), "percent": (-100, 200), "ratio": (-5, 20)}
"""Bounds of a reading by its unit: wide of any foot, narrow enough to catch a slip of a unit."""

SPOKEN = {"deg": "degrees", "mm": "mm", "percent": "%", "ratio": ""}
READING_EXAMPLE = '{"value": 12.5, "u": 0.7}'
PLAN_EXAMPLE = '{"heel_trim_mm": 5, "interval_weeks": 5}'
LIMIT_EXAMPLE = (
    '{"measure": "sole_depth_tip_mm", "stage": "after_fit", "at_least": 10, "strength": "must"}'
)
LARGEST_U = 50
MOST_LIMITS = 100
MOST_FLAGS = 30
MOST_TEXTS = 30


class ProfileSchema(StrictSchema):
    """The foot and the day."""

    limb = Word(LIMBS, required=True)
    animal = Word(codes(ANIMALS), required=True)
    conditions = Many(
        Word(codes(CONDITIONS)).read,
        len(CONDITIONS),
        "a list of conditions is wanted",
        load_default=(),
    )
    on = Day(load_default=None)


class ReadingSchema(StrictSchema):
    """A reading with what is known of it, beside its value."""

    u = Number(0, LARGEST_U, load_default=None, allow_none=True)
    scale = Word(sorted(STATED_SCALES), load_default=None, allow_none=True)
    instead_of_film = YesNo(load_default=False)


VALUES = {unit: Number(*bounds, SPOKEN[unit], required=True) for unit, bounds in PLAUSIBLE.items()}
READING_SCHEMAS = {unit: ReadingSchema.from_dict({"value": VALUES[unit]}) for unit in VALUES}


def read_stated(code: str, value: object) -> StatedValue | None:
    """Return a reading that was typed in; null is one that was not taken."""
    unit = MEASURES[code].unit
    if value is None:
        return None
    if is_number(value):
        return StatedValue(VALUES[unit].read(value))
    if not isinstance(value, dict):
        refuse(
            f"{shown(value)} is not a number",
            f"{VALUES[unit].wanted}, or an object such as {READING_EXAMPLE}",
        )
    return StatedValue(**read_part(READING_SCHEMAS[unit](), value, READING_EXAMPLE))


def to_readings(given: Mapping[str, StatedValue | None]) -> Measured:
    """Return typed-in readings, less those that were not taken."""
    return stated_readings({code: said for code, said in given.items() if said is not None})


Readings = partial(Keyed, tuple(MEASURES), "reading", read_stated)


class LimitSchema(StrictSchema):
    """A limit that the vet sets on this case."""

    measure = Word([*MEASURES, *PLAN_MEASURES], required=True)
    stage = Word(STAGES, required=True)
    at_least = Number(-400, 400, load_default=None, allow_none=True)
    at_most = Number(-400, 400, load_default=None, allow_none=True)
    unit = Word(UNITS, load_default=None, allow_none=True)
    strength = Word(["must", "should"], required=True)
    limb = Word(LIMBS, load_default=None, allow_none=True)
    reason = Text(load_default=None, allow_none=True)
    review_on = Day(load_default=None, allow_none=True)

    @validates_schema
    def check_bounds(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse a limit without a bound, or whose bounds leave nothing between them."""
        low, high = data["at_least"], data["at_most"]
        if low is None and high is None:
            raise ValidationError("it has no bound; at_least or at_most is wanted")
        if low is not None and high is not None and low > high:
            raise ValidationError(f"{high:g} is below at_least; swap the two", "at_most")

    @post_load
    def to_limit(self, data: dict[str, Any], **_: Any) -> CaseLimit:  # noqa: ANN401 - the library's signature
        """Return the limit."""
        return CaseLimit(**data)


class RecheckSchema(StrictSchema):
    """Who sees the horse again, and when."""

    owner = Text(80, load_default=None, allow_none=True)
    on = Day(load_default=None, allow_none=True)


class PreviousSchema(StrictSchema):
    """The reset before this one."""

    on = Day(required=True)
    readings = Readings(load_default=dict)

    @post_load
    def to_previous(self, data: dict[str, Any], **_: Any) -> Previous:  # noqa: ANN401 - the library's signature
        """Return the previous readings."""
        return Previous(data["on"], to_readings(data["readings"]).readings)


class LamenessSchema(StrictSchema):
    """A lameness value, with the name of its scale."""

    scale = Text(40, load_default=None, allow_none=True)
    value = Number(0, 100, required=True)

    @post_load
    def to_lameness(self, data: dict[str, Any], **_: Any) -> Lameness:  # noqa: ANN401 - the library's signature
        """Return the value with its scale."""
        return Lameness(**data)


class OppositeSchema(StrictSchema):
    """The other foot of the pair, as it is to stand."""

    readings = Readings(load_default=dict)
    lift_mm = Number(0, 100, "mm", load_default=None, allow_none=True)
    is_club = YesNo(load_default=False)

    @post_load
    def to_opposite(self, data: dict[str, Any], **_: Any) -> Opposite:  # noqa: ANN401 - the library's signature
        """Return the other foot."""
        return Opposite(to_readings(data.pop("readings")).readings, **data)


LAMENESS = partial(
    Part, LamenessSchema, '{"scale": "aaep", "value": 2}', load_default=None, allow_none=True
)


class FactsSchema(StrictSchema):
    """What was asked and answered; what is left out was not said."""

    red_flags = Many(
        Text(120).read,
        MOST_FLAGS,
        "a list of the red flags seen, [] for none, is wanted",
        load_default=None,
        allow_none=True,
    )
    recheck = Part(
        RecheckSchema, '{"owner": "vet", "on": "2027-01-06"}', load_default=None, allow_none=True
    )
    plan_signed_on = Day(load_default=None, allow_none=True)
    previous = Part(
        PreviousSchema, '{"on": "2026-10-21", "readings": {}}', load_default=None, allow_none=True
    )
    resets_in_device = Number(0, 500, whole=True, load_default=None, allow_none=True)
    lameness = LAMENESS()
    lameness_before = LAMENESS()
    opposite = Part(
        OppositeSchema, '{"readings": {}, "lift_mm": 10}', load_default=None, allow_none=True
    )
    heels_damaged = YesNo(load_default=None, allow_none=True)
    body_mass_kg = Number(20, 1500, "kg", load_default=None, allow_none=True)
    coronet_circumference_mm = Number(100, 700, "mm", load_default=None, allow_none=True)
    chip = Text(40, load_default=None, allow_none=True)
    ueln = Text(40, load_default=None, allow_none=True)
    jurisdiction = Word(codes(JURISDICTIONS), load_default=None, allow_none=True)
    farrier_words = Many(
        Text(2000).read,
        MOST_TEXTS,
        "a list of texts, [] for none, is wanted",
        load_default=None,
        allow_none=True,
    )

    @post_load
    def to_facts(self, data: dict[str, Any], **_: Any) -> Facts:  # noqa: ANN401 - the library's signature
        """Return the facts."""
        recheck = data.pop("recheck") or {}
        flags, words = data.pop("red_flags"), data.pop("farrier_words")
        return Facts(
            **data,
            farrier_words=None if words is None else tuple(words),
            red_flags=None if flags is None else tuple(flags),
            recheck_owner=recheck.get("owner"),
            recheck_on=recheck.get("on"),
        )


def _reach(most: float) -> Numbers:
    return Numbers(
        Number(0, most, "mm"), (2, 2), "two numbers, [least, most], are wanted", load_default=None
    )


class WindowSchema(StrictSchema):
    """Which plans to try; what is left out is as usual."""

    heel_trim_mm = _reach(60)
    toe_trim_mm = _reach(60)
    step_mm = Number(0.05, 10, "mm", load_default=None)
    wedge_deg = Numbers(
        Number(-30, 30, "degrees"),
        (1, MOST_WEDGES),
        f"a list of 1 to {MOST_WEDGES} wedges in degrees is wanted",
        load_default=None,
    )
    against = Word(AGAINST, load_default="all")
    include_should = YesNo(load_default=False)

    @validates_schema
    def check_order(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse a reach whose end comes before its start."""
        for key in ("heel_trim_mm", "toe_trim_mm"):
            if data[key] and data[key][0] > data[key][1]:
                raise ValidationError("it ends before it begins; write [least, most]", key)

    @post_load
    def to_ask(self, data: dict[str, Any], **_: Any) -> Ask:  # noqa: ANN401 - the library's signature
        """Return the question."""
        said: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value
            for key, value in data.items()
            if value is not None
        }
        return Ask(**said)


class WorksheetSchema(StrictSchema):
    """The one JSON document that the calculator takes."""

    profile = Part(ProfileSchema, '{"limb": "LF", "animal": "adult_horse"}', required=True)
    film = Part(
        FilmSchema, '{"landmarks_mm": {"p3_tip": [0, 15]}}', load_default=None, allow_none=True
    )
    readings = Readings(load_default=dict)
    plan = Part(PlanSchema, PLAN_EXAMPLE, load_default=None, allow_none=True)
    limits = Many(
        lambda limit: read_part(LimitSchema(), limit, LIMIT_EXAMPLE),
        MOST_LIMITS,
        f"a list of at most {MOST_LIMITS} limits is wanted",
        load_default=(),
    )
    as_fitted = Part(PlanSchema, PLAN_EXAMPLE, load_default=None, allow_none=True)
    facts = Part(FactsSchema, '{"red_flags": []}', load_default=None, allow_none=True)
    window = Part(WindowSchema, '{"heel_trim_mm": [0, 10]}', load_default=None, allow_none=True)


def load_worksheet(given: Mapping[str, Any], today: date) -> Worksheet:
    """Return the worksheet that a JSON object holds; a day not said is today.

    Raises
    ------
    Invalid
        With every fault by its path.
    """
    try:
        data = WorksheetSchema().load(given)
    except ValidationError as error:
        raise unusable(faults_of(error)) from None
    said = data["profile"]
    conditions = frozenset(said["conditions"])
    return Worksheet(
        profile=Profile(said["limb"], said["animal"], said["on"] or today, conditions),
        film=data["film"],
        stated=to_readings(data["readings"]),
        plan=data["plan"],
        as_fitted=data["as_fitted"],
        limits=tuple(data["limits"]),
        facts=data["facts"],
        window=data["window"] or Ask(),
    )
