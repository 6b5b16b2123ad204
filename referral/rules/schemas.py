"""The forms of rules: what an organisation wants of one, and a rule of its own."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from marshmallow import Schema, fields, validate

from referral.core.rules.finding import SEVERITIES
from referral.core.rules.rule import EVIDENCE, Limit
from referral.errors import Invalid
from referral.rulebook.limits import BOUNDS
from referral.rulebook.overrides import LIMITS, OFF, SHIPPED
from referral.rules.shelf import TOPICS
from referral.web.forms import SUMMARY, DateField, DecimalField

LONGEST_TEXT = 20_000
LONGEST_REASON = 500
STANCES = (
    (LIMITS, "With these limits and severities"),
    (OFF, "Not asked at all"),
    (SHIPPED, "As it was shipped"),
)
SETTABLE = tuple((each, each.replace("_", " ").capitalize()) for each in SEVERITIES[:-1])
"""A red flag is never given or taken by an organisation."""

EVIDENCES = tuple((each, each.capitalize()) for each in EVIDENCE)
NEEDED = "Please fill this in."


def _one_of(options: Sequence[tuple[str, str]]) -> validate.OneOf:
    return validate.OneOf([code for code, _label in options], error="Choose one from the list.")


def _words(longest: int = LONGEST_REASON, **more: Any) -> fields.String:  # noqa: ANN401 - handed to marshmallow
    return fields.String(
        validate=validate.Length(max=longest, error=f"At most {longest} characters."), **more
    )


class OwnForm(Schema):
    """A rule of an organisation's own."""

    practice = fields.UUID(load_default=None)
    topic = fields.String(required=True, validate=_one_of(TOPICS))
    rule_text = _words(LONGEST_TEXT, required=True)
    since = DateField(required=True)
    reason = _words(required=True)


class ChangeForm(Schema):
    """What every change of a shipped rule says; the tiers' fields come beside."""

    practice = fields.UUID(load_default=None)
    stance = fields.String(required=True, validate=_one_of(STANCES))
    since = DateField(required=True)
    reason = _words(required=True)
    evidence = fields.String(load_default=None, validate=_one_of(EVIDENCES))
    source = _words(load_default=None)


@dataclass(frozen=True, slots=True)
class TierField:
    """One field of one tier: its name in the form, what it sets, its unit."""

    name: str
    tier: int
    key: str
    unit: str


def tier_fields(limits: Sequence[Limit]) -> tuple[TierField, ...]:
    """Return the fields in which the tiers of a rule are set."""
    found = []
    for index, limit in enumerate(limits):
        keys = [key for key in BOUNDS if getattr(limit, key) is not None]
        found += [
            TierField(f"limit_{index + 1}_{key}", index, key, limit.unit or "")
            for key in (*keys, "severity")
        ]
    return tuple(found)


def more_fields(limits: Sequence[Limit]) -> tuple[TierField, ...]:
    """Return the fields of one tier more, for all feet; none where limits are no numbers."""
    keys = [key for key in BOUNDS if any(getattr(limit, key) is not None for limit in limits)]
    if not keys or any(limit.tolerance for limit in limits):
        return ()
    place, unit = len(limits), limits[0].unit or ""
    return tuple(
        TierField(f"limit_{place + 1}_{key}", place, key, unit) for key in (*keys, "severity")
    )


def change_schema(limits: Sequence[Limit], *, stated: bool) -> Schema:
    """Return the form of a change of a rule with these limits; ``stated`` asks for two values."""
    made: dict[str, Any] = {
        each.name: fields.String(load_default=None, validate=_one_of(SETTABLE))
        if each.key == "severity"
        else DecimalField(each.unit, load_default=None, decimals=3)
        for each in (*tier_fields(limits), *more_fields(limits))
    }
    if stated:
        unit = limits[0].unit or ""
        made |= {
            name: DecimalField(unit, load_default=None, decimals=3)
            for name in ("inside", "outside")
        }
    return Schema.from_dict(made | dict(ChangeForm._declared_fields))()  # noqa: SLF001 - a form put together from two


def check_complete(given: dict[str, Any], limits: Sequence[Limit], *, stated: bool) -> None:
    """Return nothing if all is there that other limits need.

    Raises
    ------
    Invalid
        With a sentence beside each field that is left out.
    """
    if given["stance"] != LIMITS:
        return
    wanted = [each.name for each in tier_fields(limits)]
    wanted += ["evidence", "source", *(("inside", "outside") if stated else ())]
    faults = {name: [NEEDED] for name in wanted if given.get(name) is None}
    faults |= _half_said(given, more_fields(limits))
    if faults:
        raise Invalid(SUMMARY, faults)


def _half_said(given: dict[str, Any], more: Sequence[TierField]) -> dict[str, list[str]]:
    """Return what one tier more lacks, if anything is said of it."""
    said = {each.key for each in more if given[each.name] is not None}
    if not said or (said > {"severity"}):
        return {}
    lacking = more[0] if said == {"severity"} else more[-1]
    return {lacking.name: [NEEDED]}


def tiers_in(given: dict[str, Any], limits: Sequence[Limit]) -> tuple[dict[str, Any], ...]:
    """Return what the form says of each tier."""
    tiers: list[dict[str, Any]] = [{} for _limit in limits]
    for each in tier_fields(limits):
        tiers[each.tier][each.key] = given[each.name]
    more = {each.key: given[each.name] for each in more_fields(limits)}
    return tuple(tiers) if more.get("severity") is None else (*tiers, more)
