"""Forms: one parser of numbers, strict dates, and nothing typed is ever lost.

A page's form becomes a marshmallow schema's object with `load_form`; when that
raises `Invalid`, the page is shown again with a `FormState` of what was typed.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from marshmallow import Schema, ValidationError, fields
from werkzeug.datastructures import MultiDict

from referral.errors import Invalid
from referral.web.fonts import composed, printing_faults

ALONGSIDE = frozenset({"csrf_token", "revision", "idempotency_key"})
"""Fields that every form may carry beside its own."""
MINUS = "\N{MINUS SIGN}"
NUMBER = re.compile(r"(-?)([0-9]{0,9})(?:([.,])([0-9]+))?")
PLAIN_DECIMALS = 2
ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
EXPECTED = "Write a number such as 12.5 or 12,5."
MISSING = "Please fill this in."
UNKNOWN = "This page has no such field."
TWICE = "This was sent more than once."
UNWRITABLE = "This holds a sign that cannot be kept; type it again."
NUL = "\0"
SUMMARY = "Some fields need another look; what you typed is still here."


@contextmanager
def faults_at(**fields: str) -> Iterator[None]:
    """Put faults that name one field beside another: a page may call it otherwise."""
    try:
        yield
    except Invalid as error:
        faults = {fields.get(name, name): said for name, said in error.faults.items()}
        raise Invalid(error.message, faults) from error


def parse_decimal(text: str, decimals: int = PLAIN_DECIMALS) -> Decimal:
    """Return the number that was typed.

    Comma and point both mean decimal, with one or two digits after them; more
    digits (up to ``decimals``) only after a point. No thousands marks, exponents
    or words; a true minus sign (U+2212) is a minus as much as a hyphen is.

    Raises
    ------
    ValueError
        If it is not such a number; the message is a sentence for who typed it.
    """
    clean = text.strip().replace(MINUS, "-").removeprefix("+")
    match = NUMBER.fullmatch(clean)
    if match is None or not (match[2] or match[4]):
        raise ValueError(EXPECTED)
    sign, whole, mark, rest = match[1], match[2] or "0", match[3], match[4] or "0"
    allowed = decimals if mark == "." else PLAIN_DECIMALS
    if len(rest) > allowed:
        raise ValueError(_too_many(text.strip(), rest, mark, allowed))
    return Decimal(f"{sign}{whole}.{rest}")


def _too_many(typed: str, rest: str, mark: str, allowed: int) -> str:
    if mark == "," and len(rest) == 3:  # noqa: PLR2004 - the size of a group of thousands
        plain = typed.replace(",", "")
        return f"{typed} could be read as {plain} or as {typed[:-1]}; which is it?"
    return f"Write at most {allowed} digits after the point."


class DecimalField(fields.Field[float]):
    """A number with its unit and the range in which it makes sense.

    Text goes through `parse_decimal`; JSON numbers are taken as they are.
    """

    def __init__(
        self,
        unit: str = "",
        *,
        minimum: float | None = None,
        maximum: float | None = None,
        decimals: int = PLAIN_DECIMALS,
        **kwargs: Any,  # noqa: ANN401 - handed to marshmallow
    ) -> None:
        super().__init__(**kwargs)
        self.unit = unit
        self.minimum = minimum
        self.maximum = maximum
        self.decimals = decimals

    def _deserialize(
        self,
        value: Any,  # noqa: ANN401 - whatever was sent
        attr: str | None,  # noqa: ARG002 - the library's signature
        data: Mapping[str, Any] | None,  # noqa: ARG002 - the library's signature
        **kwargs: Any,  # noqa: ANN401, ARG002 - the library's signature
    ) -> float:
        number = self._number(value)
        below = self.minimum is not None and number < self.minimum
        above = self.maximum is not None and number > self.maximum
        if below or above:
            raise ValidationError(self._range())
        return number

    def _number(self, value: object) -> float:
        if isinstance(value, str):
            try:
                return float(parse_decimal(value, self.decimals))
            except ValueError as error:
                raise ValidationError(str(error)) from error
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValidationError(EXPECTED)
        try:
            number = float(value)
        except OverflowError as error:  # JSON has whole numbers of any length
            raise ValidationError(EXPECTED) from error
        if not math.isfinite(number):
            raise ValidationError(EXPECTED)
        return number

    def _range(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        if self.minimum is None:
            return f"At most {_plain(self.maximum)}{unit}."
        if self.maximum is None:
            return f"At least {_plain(self.minimum)}{unit}."
        return f"Between {_plain(self.minimum)} and {_plain(self.maximum)}{unit}."


class DateField(fields.Field[date]):
    """A day as a date input sends it, 2026-11-26, and nothing looser."""

    def __init__(
        self,
        *,
        earliest: date | None = None,
        latest: date | None = None,
        **kwargs: Any,  # noqa: ANN401 - handed to marshmallow
    ) -> None:
        super().__init__(**kwargs)
        self.earliest = earliest or date(1980, 1, 1)
        self.latest = latest or date(2099, 12, 31)

    def _deserialize(
        self,
        value: Any,  # noqa: ANN401 - whatever was sent
        attr: str | None,  # noqa: ARG002 - the library's signature
        data: Mapping[str, Any] | None,  # noqa: ARG002 - the library's signature
        **kwargs: Any,  # noqa: ANN401, ARG002 - the library's signature
    ) -> date:
        try:
            day = parse_date(value)
        except ValueError as error:
            raise ValidationError(str(error)) from error
        if not self.earliest <= day <= self.latest:
            raise ValidationError(f"A day between {self.earliest} and {self.latest}.")
        return day


def parse_date(value: object) -> date:
    """Return the day written as year-month-day.

    Raises
    ------
    ValueError
        If it is written otherwise, or there is no such day.
    """
    expected = "Write the day as year-month-day, such as 2026-11-26."
    if not isinstance(value, str) or not ISO_DATE.fullmatch(value.strip()):
        raise ValueError(expected)
    try:
        return date.fromisoformat(value.strip())
    except ValueError as error:
        raise ValueError("There is no such day.") from error


class Unprinted(fields.String):
    """Text that comes on no sheet and is taken sign by sign: a password, a code, an address."""


@dataclass(frozen=True, slots=True)
class FormState:
    """What stands in a form: what was typed, and what is wrong with it."""

    typed: Mapping[str, list[str]] = field(default_factory=dict)
    faults: Mapping[str, list[str]] = field(default_factory=dict)
    sentence: str = ""

    def value(self, name: str, default: object = "") -> object:
        """Return what was typed in a field, or the default if the form is fresh."""
        if name in self.typed:
            return self.typed[name][0] if self.typed[name] else ""
        return "" if self.typed or default is None else default

    def values(self, name: str) -> list[str]:
        """Return everything ticked or chosen under a name."""
        return list(self.typed.get(name, []))

    def errors(self, name: str) -> list[str]:
        """Return the sentences about one field."""
        return list(self.faults.get(name, []))


def state_of_form(
    form: MultiDict[str, str], error: Invalid, *, secret: Iterable[str] = ()
) -> FormState:
    """Return the form as typed, without its secrets, with what the error says of each field."""
    hidden = {"csrf_token", *secret}
    typed = {name: form.getlist(name) for name in form if name not in hidden}
    return FormState(typed, error.faults, error.message)


def load_form(schema: Schema, form: MultiDict[str, str], *, also: Iterable[str] = ()) -> Any:  # noqa: ANN401 - the schema decides what it makes
    """Return what the schema makes of a form; blank fields count as not given.

    Words are composed (NFC). Those that no sheet could print are refused, also in the fields
    ``also``, which are read elsewhere: what is in the record cannot be typed again.

    Raises
    ------
    Invalid
        With a sentence for each field at fault: unusable, unprintable, missing, unknown, or sent
        twice.
    """
    data: dict[str, Any] = {}
    faults: dict[str, list[str]] = {}
    for name in form:
        asked = schema.fields.get(name)
        kept = [_as_kept(asked, each) for each in form.getlist(name)]
        given = [each for each in kept if each.strip()]
        if said := _faults_of(name, asked, given):
            faults[name] = said
        elif name in ALONGSIDE or name in also:
            continue
        elif asked is None:
            faults[name] = [UNKNOWN]
        elif isinstance(asked, fields.List):
            data[name] = given
        elif len(given) > 1:
            faults[name] = [TWICE]
        elif given:
            data[name] = given[0]
    return _load(schema, data, faults)


def load_json(schema: Schema, data: object) -> Any:  # noqa: ANN401 - the schema decides what it makes
    """Return what the schema makes of a JSON body.

    Raises
    ------
    Invalid
        With a sentence for each path at fault.
    """
    if not isinstance(data, Mapping):
        return _load(schema, data, {})
    kept: dict[Any, Any] = {}
    faults: dict[str, list[str]] = {}
    for name, value in data.items():
        asked = schema.fields.get(name)
        kept[name] = _as_kept(asked, value) if isinstance(value, str) else value
        if isinstance(value, str) and (unprintable := _unprintable(asked, [kept[name]])):
            faults[name] = unprintable
    return _load(schema, kept, faults)


def _faults_of(name: str, asked: object, given: list[str]) -> list[str]:
    """Return what is wrong with the signs of which a field's texts consist."""
    if any(NUL in each for each in given):
        return [UNWRITABLE]
    return [] if name in ALONGSIDE else _unprintable(asked, given)


def _is_exact(asked: object) -> bool:
    return isinstance(asked, Unprinted | fields.Email)


def _as_kept(asked: object, text: str) -> str:
    return text if _is_exact(asked) else composed(text)


def _unprintable(asked: object, texts: Iterable[str]) -> list[str]:
    """Return what cannot be printed of a field's texts."""
    return [] if _is_exact(asked) else [said for text in texts for said in printing_faults(text)]


def _load(schema: Schema, data: Any, faults: dict[str, list[str]]) -> Any:  # noqa: ANN401 - as above
    try:
        made = schema.load(data)
    except ValidationError as error:
        faults = {**flat_faults(error.messages), **faults}
        raise Invalid(SUMMARY, faults) from error
    if faults:
        raise Invalid(SUMMARY, faults)
    return made


def flat_faults(messages: object, at: str = "") -> dict[str, list[str]]:
    """Return nested messages as one level, keyed by dotted path."""
    if isinstance(messages, Mapping):
        flat: dict[str, list[str]] = {}
        for key, inner in messages.items():
            step = "" if key == "_schema" else str(key)
            path = f"{at}.{step}" if at and step else at or step
            flat.update(flat_faults(inner, path))
        return flat
    sentences = messages if isinstance(messages, list) else [messages]
    return {at: [_sentence(str(each)) for each in sentences]}


def _sentence(said: str) -> str:
    known = {"Missing data for required field.": MISSING, "Unknown field.": UNKNOWN}
    return known.get(said, said)


def _plain(number: float | None) -> str:
    return "" if number is None else f"{number:g}".replace("-", MINUS)
