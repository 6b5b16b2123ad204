"""Codes of the core as a person reads them: landmarks, readings, fields of a plan."""

import re
from datetime import date

from referral.core.measure.landmarks import LANDMARKS
from referral.core.measure.registry import MEASURES
from referral.web.written import day

CODE = re.compile(r"\b(?:plan\.\w+|[a-z0-9]+(?:_[a-z0-9]+)+)\b")
DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
PLAN = "plan."
UNITS = re.compile(r"_(?:deg|mm|weeks|percent)$")
CASE_LIMIT = "case:"


def in_words(text: str) -> str:
    """Return a sentence of the core with each code in it said in words.

    A landmark becomes what to place it on, a reading its name. Calculators keep the codes,
    because their users type them. A day is written as on every page.
    """
    said = CODE.sub(lambda found: _said(found.group()), text)
    return DAY.sub(lambda found: _day(found.group()), said)


def _day(said: str) -> str:
    try:
        return day(date.fromisoformat(said))
    except ValueError:
        return said


def _said(code: str) -> str:
    if code.startswith(PLAN):
        return f"the plan’s {_spaced(code.removeprefix(PLAN))}"
    for landmarks in LANDMARKS.values():
        if code in landmarks:
            place = landmarks[code].rstrip(".")
            return place[:1].lower() + place[1:]
    name = MEASURES[code].name if code in MEASURES else _spaced(code)
    return name[:1].lower() + name[1:]


def _spaced(code: str) -> str:
    return UNITS.sub("", code).replace("_", " ").replace(".", " ")


def rule_name(rule: str) -> str:
    """Return what a finding rests on: a rule's number, or a limit that the vet set."""
    return "limit of the vet’s" if rule.startswith(CASE_LIMIT) else rule
