"""Keys of a table in a rule file: known, there, and of the right type."""

import math
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from referral.rulebook.faults import FaultList

Place = tuple[str, int]

LARGEST = 1e12
"""No number of a rule is so large; beyond it arithmetic would not be exact."""

TYPE_WORDS = {
    "text": "text in quotes",
    "number": "a finite number",
    "day": "a date such as 2026-01-31, without quotes",
    "table": "a table",
    "list": "a list",
    "words": "a list of texts",
    "yes/no": "true or false",
}


def is_a(value: object, wanted: str) -> bool:
    """Return whether a TOML value is of a wanted type, one of ``TYPE_WORDS``.

    Examples
    --------
    >>> is_a(15, "number"), is_a(True, "number"), is_a("", "text")
    (True, False, False)
    """
    if wanted == "number":
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False
        return abs(value) <= LARGEST and math.isfinite(value)
    if wanted == "text":
        return isinstance(value, str) and bool(value.strip())
    if wanted == "day":
        return isinstance(value, date) and not isinstance(value, datetime)
    if wanted == "words":
        return isinstance(value, list) and all(isinstance(each, str) for each in value)
    return isinstance(value, {"table": dict, "list": list, "yes/no": bool}[wanted])


def check_keys(
    raw: Mapping[str, Any],
    known: Mapping[str, str],
    required: tuple[str, ...],
    faults: FaultList,
    at: Place = ("", 0),
) -> bool:
    """Note unknown, missing and mistyped keys of one table; return whether there are none.

    Examples
    --------
    >>> faults = FaultList("R01.toml", "")
    >>> check_keys({"idd": "R01"}, {"id": "text"}, ("id",), faults)
    False
    >>> [fault.wrong for fault in faults.found]
    ["unknown key 'idd'", "'id' is missing"]
    """
    before = len(faults.found)
    for key, value in raw.items():
        if key not in known:
            mend = f"use one of: {', '.join(known)}"
            faults.add(f"unknown key '{key}'", mend, key=key, at=at)
        elif not is_a(value, known[key]):
            faults.add(f"'{key}' is wrong", f"write {TYPE_WORDS[known[key]]}", key=key, at=at)
    for key in required:
        if key not in raw:
            faults.add(f"'{key}' is missing", f"add {TYPE_WORDS[known[key]]}", at=at)
    return len(faults.found) == before


def check_word(
    raw: Mapping[str, Any], key: str, allowed: tuple[str, ...], faults: FaultList, at: Place
) -> None:
    """Note a word that is not one of those allowed.

    Examples
    --------
    >>> faults = FaultList("R01.toml", "")
    >>> check_word({"severity": "bad"}, "severity", ("note", "caution"), faults, ("", 0))
    >>> faults.found[0].mend
    'use one of: note, caution'
    """
    if key in raw and raw[key] not in allowed:
        wrong = f"'{raw[key]}' is not a known {key}"
        faults.add(wrong, f"use one of: {', '.join(allowed)}", key=key, at=at)
