"""Bytes to one JSON object, strictly: no NaN, no key twice, nothing guessed."""

import json
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NoReturn

from referral.errors import Invalid
from referral.exchange.faults import joined, plain, unusable

LONGEST_WHOLE_NUMBER = 18
"""Digits of a whole number that is kept whole; a longer one is a float, or too large."""


@dataclass(frozen=True, slots=True)
class _NoNumber:
    """A number that JSON, or a computer, does not have."""

    text: str


class _Object(dict[str, Any]):
    """A JSON object that remembers the keys that stood in it twice."""

    repeated: tuple[str, ...] = ()


def parse_object(data: bytes) -> dict[str, Any]:
    """Return the one JSON object that the bytes hold.

    Raises
    ------
    Invalid
        If it is empty, not UTF-8, not JSON, no object, or holds NaN, Infinity, a number
        that is too large, or a key twice; ``faults`` gives the path of each.
    """
    if not data.strip():
        raise Invalid("The worksheet is empty; one JSON object is wanted.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Invalid(
            f"The worksheet is not UTF-8 text (byte {error.start + 1}); save it as UTF-8."
        ) from None
    faults: dict[str, list[str]] = {}
    try:
        found = _parsed(text)
        for path, sentence in _oddities(found, ""):
            faults.setdefault(path, []).append(sentence)
    except RecursionError:
        _refuse("brackets stand in brackets far too deep")
    if faults:
        raise unusable(faults)
    if not isinstance(found, dict):
        raise Invalid("The worksheet is no JSON object; one in braces, { … }, is wanted.")
    return found


def _parsed(text: str) -> Any:  # noqa: ANN401 - any JSON value
    try:
        return json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=_NoNumber,
            parse_float=_number,
            parse_int=_whole_number,
        )
    except json.JSONDecodeError as error:
        _refuse(f"line {error.lineno}, column {error.colno}: {_reason(error)}")


def _refuse(why: str) -> NoReturn:
    raise Invalid(f"The worksheet is not JSON: {why}.")


def _reason(error: json.JSONDecodeError) -> str:
    """Return what the parser did not like, in words that name what to mend."""
    return {
        "Expecting property name enclosed in double quotes": "a key in double quotes is wanted",
        "Expecting ',' delimiter": "a comma or the closing bracket is missing",
        "Expecting ':' delimiter": "a colon after the key is missing",
        "Expecting value": "a value is missing, or is none that JSON has",
        "Unterminated string starting at": "a text has no closing quote",
        "Extra data": "something stands after the end of the worksheet",
        "Invalid control character at": "a text runs over the end of its line",
        "Invalid \\escape": "a backslash in a text must be written twice",
    }.get(error.msg.rstrip(": "), error.msg[:1].lower() + error.msg[1:])


def _object(pairs: list[tuple[str, Any]]) -> _Object:
    found = _Object(pairs)
    if len(found) < len(pairs):
        counts = Counter(key for key, _ in pairs)
        found.repeated = tuple(key for key, count in counts.items() if count > 1)
    return found


def _number(text: str) -> float | _NoNumber:
    value = float(text)
    return value if math.isfinite(value) else _NoNumber(text)


def _whole_number(text: str) -> float | _NoNumber:
    return int(text) if len(text) <= LONGEST_WHOLE_NUMBER else _number(text)


def _oddities(value: object, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, _NoNumber):
        yield path, f"{plain(value.text)} is not a number; a finite number is wanted"
    elif isinstance(value, _Object):
        for key in value.repeated:
            yield joined(path, key), "this key stands here twice; keep one of them"
        for key, inner in value.items():
            yield from _oddities(inner, joined(path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _oddities(inner, joined(path, index))
