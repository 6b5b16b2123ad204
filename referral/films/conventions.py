"""The convention of a reading as it is kept beside it, and as it is said."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from referral.core.measure.readings import Convention, Measured
from referral.core.measure.registry import MEASURES

EARLIER, UNKNOWN = "by another definition than today’s", "definition not kept"
NOT_KEPT = "Its definition was not kept when it was recorded."


def convention_record(convention: Convention | None) -> dict[str, Any] | None:
    """Return a convention as plain values."""
    if convention is None:
        return None
    return {**asdict(convention), "needs": list(convention.needs)}


def convention_from(kept: Mapping[str, Any] | None) -> Convention | None:
    """Return the convention that was kept; older readings have none."""
    if kept is None:
        return None
    return Convention(kept["sign"], kept["sentence"], tuple(kept["needs"]), kept["source"])


def conventions_record(measured: Measured) -> dict[str, dict[str, Any] | None]:
    """Return the convention of every reading, by code."""
    return {code: convention_record(each.convention) for code, each in measured.readings.items()}


def convention_aside(code: str, convention: Convention | None) -> str:
    """Return what tells a reading's definition from today's; nothing where it is today's."""
    if convention is None:
        return UNKNOWN
    return "" if convention == MEASURES[code].convention else EARLIER


def convention_says(convention: Convention | None) -> str:
    """Return a convention in words: the definition, what + means, where it comes from."""
    if convention is None:
        return NOT_KEPT
    sign = f" Sign: {convention.sign}." if convention.sign else ""
    return f"{convention.sentence}{sign} Source: {convention.source}."
