"""Strict JSON values for a worksheet's schemas; each fault says what is wrong and wanted."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from typing import Any, NoReturn

from marshmallow import Schema, ValidationError, fields

from referral.exchange.faults import WHOLE, flat, instead_of, one_of, shown

ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
EARLIEST_YEAR, LATEST_YEAR = 1980, 2100
LONGEST_TEXT = 500
PLACE = "two numbers, [x, y], are wanted"
FARTHEST = 100_000.0
"""Greatest coordinate, in pixels or mm: beyond the largest plate there is."""


def refuse(what: str, wanted: str) -> NoReturn:
    """Refuse a value in the one form that every fault has."""
    raise ValidationError(f"{what}; {wanted}")


def is_number(value: object) -> bool:
    """Say whether a JSON value is a number; true and false are not."""
    return isinstance(value, int | float) and not isinstance(value, bool)


class StrictField(fields.Field[Any]):
    """A value that says of itself what is wanted, also where it is missing or null."""

    def __init__(self, wanted: str, **more: Any) -> None:  # noqa: ANN401 - the library's own keywords
        self.wanted = wanted
        said = wanted.replace("{", "{{").replace("}", "}}")  # the library formats it once more
        more["error_messages"] = {
            "required": f"it is missing; {said}",
            "null": f"it is null; {said}, or leave it out",
        }
        super().__init__(**more)

    def _deserialize(
        self,
        value: Any,  # noqa: ANN401 - any JSON value
        attr: str | None,  # noqa: ARG002 - the library's signature
        data: Mapping[str, Any] | None,  # noqa: ARG002 - the library's signature
        **kwargs: Any,  # noqa: ANN401, ARG002 - the library's signature
    ) -> Any:  # noqa: ANN401 - what the field makes of it
        return self.read(value)

    def read(self, value: Any) -> Any:  # noqa: ANN401 - as above
        """Return the checked value."""
        raise NotImplementedError


class Number(StrictField):
    """A JSON number within plausible bounds."""

    def __init__(
        self,
        least: float,
        most: float,
        unit: str = "",
        *,
        whole: bool = False,
        **more: Any,  # noqa: ANN401 - as above
    ) -> None:
        self.least, self.most, self.whole = least, most, whole
        kind = "a whole number" if whole else "a number"
        spaced = f" {unit}" if unit else ""
        super().__init__(f"{kind} from {least:g} to {most:g}{spaced} is wanted", **more)

    def read(self, value: Any) -> float:  # noqa: ANN401 - as above
        """Return the number."""
        if not is_number(value):
            refuse(f"{shown(value)} is not a number", self.wanted)
        if self.whole and value != int(value):
            refuse(f"{shown(value)} is not a whole number", self.wanted)
        if value < self.least:
            refuse(f"{shown(value)} is too little", self.wanted)
        if value > self.most:
            refuse(f"{shown(value)} is too much", self.wanted)
        return int(value) if self.whole else float(value)


class Word(StrictField):
    """One of a closed list of words."""

    def __init__(self, words: Iterable[str], **more: Any) -> None:  # noqa: ANN401 - as above
        self.words = tuple(words)
        super().__init__(one_of(self.words), **more)

    def read(self, value: Any) -> str:  # noqa: ANN401 - as above
        """Return the word."""
        if not isinstance(value, str):
            refuse(f"{shown(value)} is not a word", self.wanted)
        if value not in self.words:
            refuse(f"{shown(value)} is not known here", instead_of(value, self.words))
        return value


class Text(StrictField):
    """Free text of one line."""

    def __init__(self, longest: int = LONGEST_TEXT, **more: Any) -> None:  # noqa: ANN401 - as above
        self.longest = longest
        super().__init__(f"a text of 1 to {longest} letters is wanted", **more)

    def read(self, value: Any) -> str:  # noqa: ANN401 - as above
        """Return the text without space around it."""
        if not isinstance(value, str):
            refuse(f"{shown(value)} is not a text", self.wanted)
        text = value.strip()
        if not text or len(text) > self.longest:
            refuse("it is empty" if not text else "it is too long", self.wanted)
        if not text.isprintable():
            refuse("it holds signs that cannot be printed", "letters on one line are wanted")
        return text


class Day(StrictField):
    """A day of the calendar."""

    def __init__(self, **more: Any) -> None:  # noqa: ANN401 - as above
        super().__init__('a date such as "2026-11-25" is wanted', **more)

    def read(self, value: Any) -> date:  # noqa: ANN401 - as above
        """Return the day."""
        if not isinstance(value, str) or not ISO_DAY.fullmatch(value):
            refuse(f"{shown(value)} is not a date", self.wanted)
        try:
            day = date.fromisoformat(value)
        except ValueError:
            refuse(f"{shown(value)} is on no calendar", self.wanted)
        if not EARLIEST_YEAR <= day.year <= LATEST_YEAR:
            refuse(f"{shown(value)} is not plausible", self.wanted)
        return day


class YesNo(StrictField):
    """A JSON true or false."""

    def __init__(self, **more: Any) -> None:  # noqa: ANN401 - as above
        super().__init__("true or false, without quotes, is wanted", **more)

    def read(self, value: Any) -> bool:  # noqa: ANN401 - as above
        """Return the answer."""
        if not isinstance(value, bool):
            refuse(f"{shown(value)} is neither", self.wanted)
        return value


class Numbers(StrictField):
    """A row of numbers, each within the same bounds."""

    def __init__(self, each: Number, counts: tuple[int, int], wanted: str, **more: Any) -> None:  # noqa: ANN401 - as above
        self.each, self.counts = each, counts
        super().__init__(wanted, **more)

    def read(self, value: Any) -> list[float]:  # noqa: ANN401 - as above
        """Return the numbers."""
        return read_list(value, self.each.read, self.counts, self.wanted)


class Points(StrictField):
    """A row of points."""

    def __init__(self, counts: tuple[int, int], wanted: str, **more: Any) -> None:  # noqa: ANN401 - as above
        self.counts = counts
        super().__init__(wanted, **more)

    def read(self, value: Any) -> list[list[float]]:  # noqa: ANN401 - as above
        """Return the points."""
        return read_list(value, read_point, self.counts, self.wanted)


class Many(StrictField):
    """A list of objects or values of one kind."""

    def __init__(
        self,
        each: Callable[[Any], Any],
        most: int,
        wanted: str,
        **more: Any,  # noqa: ANN401 - as above
    ) -> None:
        self.each, self.most = each, most
        super().__init__(wanted, **more)

    def read(self, value: Any) -> list[Any]:  # noqa: ANN401 - as above
        """Return the list, each read."""
        return read_list(value, self.each, (0, self.most), self.wanted)


def read_point(value: Any) -> list[float]:  # noqa: ANN401 - any JSON value
    """Return one point."""
    if not isinstance(value, list):
        refuse(f"{shown(value)} is not a point", PLACE)
    coordinate = Number(-FARTHEST, FARTHEST)
    return read_list(value, coordinate.read, (2, 2), PLACE)


def read_list(
    value: Any,  # noqa: ANN401 - any JSON value
    each: Callable[[Any], Any],
    counts: tuple[int, int],
    wanted: str,
) -> list[Any]:
    """Return a list with each of its members read; faults are keyed by their place."""
    if not isinstance(value, list):
        refuse(f"{shown(value)} is not a list", wanted)
    if not counts[0] <= len(value) <= counts[1]:
        refuse(f"it holds {len(value)} value{'' if len(value) == 1 else 's'}", wanted)
    return list(read_items(dict(enumerate(value)), lambda _key, item: each(item)).values())


def read_items(value: Mapping[Any, Any], each: Callable[[Any, Any], Any]) -> dict[Any, Any]:
    """Return a mapping with every member read; all faults are kept, keyed as the members are."""
    found, faults = {}, {}
    for key, item in value.items():
        try:
            found[key] = each(key, item)
        except ValidationError as error:
            faults[key] = error.messages
    if faults:
        raise ValidationError(faults)
    return found


class Keyed(StrictField):
    """An object whose keys are names out of a list; ``each`` reads a value by its name."""

    def __init__(
        self,
        known: Sequence[str],
        noun: str,
        each: Callable[[str, Any], Any],
        **more: Any,  # noqa: ANN401 - as above
    ) -> None:
        self.known, self.noun, self.each = known, noun, each
        super().__init__(f"an object, {noun} by name, is wanted", **more)

    def read(self, value: Any) -> dict[str, Any]:  # noqa: ANN401 - as above
        """Return what is keyed, each read."""
        if not isinstance(value, dict):
            refuse(f"{shown(value)} is not an object", self.wanted)
        return read_items(value, self._one)

    def _one(self, name: str, item: object) -> Any:  # noqa: ANN401 - as above
        if name not in self.known:
            refuse(f"there is no such {self.noun}", instead_of(name, self.known))
        return self.each(name, item)


class StrictSchema(Schema):
    """An object with known keys only; an unknown one is refused with the nearest known."""

    def handle_error(
        self,
        error: ValidationError,
        data: Any,  # noqa: ANN401 - the library's signature
        *,
        many: bool,  # noqa: ARG002 - likewise
        **kwargs: Any,  # noqa: ANN401, ARG002 - likewise
    ) -> None:
        """Put our sentence in the place of the library's on a key that is not known."""
        if not isinstance(error.messages, dict):
            return
        for key in data:  # the library's own order is that of a set
            if key not in self.fields and error.messages.pop(key, None):
                sentence = f"there is no such key here; {instead_of(key, self.fields)}"
                error.messages[key] = [sentence if key != WHOLE else f'"{WHOLE}": {sentence}']


class Part(StrictField):
    """An object inside an object, with a schema of its own."""

    def __init__(self, schema: Callable[[], Schema], example: str, **more: Any) -> None:  # noqa: ANN401 - as above
        self.schema, self.example = schema, example
        super().__init__(f"an object such as {example} is wanted", **more)

    def read(self, value: Any) -> Any:  # noqa: ANN401 - as above
        """Return what the schema makes of it."""
        return read_part(self.schema(), value, self.example)


def read_part(schema: Schema, value: Any, example: str) -> Any:  # noqa: ANN401 - any JSON value
    """Return what a schema makes of a JSON value, refusing what is not an object."""
    if not isinstance(value, dict):
        refuse(f"{shown(value)} is not an object", f"one such as {example} is wanted")
    return schema.load(value)


def faults_of(error: ValidationError) -> dict[str, list[str]]:
    """Return what a schema refused, by dotted path."""
    messages = error.messages
    return flat(messages) if isinstance(messages, dict) else {"": list(messages)}
