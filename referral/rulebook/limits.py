"""Dated limits of a rule file: their bounds or bands, their units, dates and tiers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from referral.core.rules.bands import WITHIN_BAND, Band, edges, tiling_faults
from referral.core.rules.claims import limit_bounds
from referral.core.rules.deviations import AGREED
from referral.core.rules.finding import SEVERITIES
from referral.core.rules.guard import Bound
from referral.core.rules.rule import EVIDENCE, Limit, severity_rank
from referral.rulebook.faults import FaultList
from referral.rulebook.keys import Place, check_keys, check_word, is_a

BOUNDS = ("at_least", "at_most", "more_than", "less_than")
GROUPS = ("therapeutic", "routine")
LIMIT_KEYS = {
    "since": "day",
    "severity": "text",
    "evidence": "text",
    "source": "text",
    "unit": "text",
    **dict.fromkeys(BOUNDS, "number"),
    "only": "text",
    "says": "text",
    "tolerance": "table",
    "bands": "list",
}
BAND_KEYS = {"severity": "text", **dict.fromkeys(BOUNDS, "number")}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the limits of a rule must have: bounds in this unit, or a tolerance, or neither."""

    unit: str | None
    tolerance: bool = False


def read_limits(raw: Sequence[Any], wanted: Wanted, faults: FaultList) -> tuple[Limit, ...]:
    """Return the limits of a file in its order; what is wrong is noted in ``faults``.

    Examples
    --------
    >>> from datetime import date
    >>> tier = {"since": date(2026, 1, 1), "severity": "caution", "evidence": "textbook"}
    >>> faults = FaultList("R01.toml", "")
    >>> read_limits([tier | {"source": "p. 1", "unit": "mm"}], Wanted("mm"), faults)
    ()
    >>> faults.found[0].wrong
    'the limit has no bound'
    """
    limits: list[Limit] = []
    for index, each in enumerate(raw):
        at = ("limits", index)
        if not isinstance(each, dict):
            faults.add("a limit is not a table", "write [[limits]]")
        elif _check_limit(each, wanted, faults, at):
            limits.extend(_limits_of(each, faults, at))
    _check_dates(raw, faults)
    for wrong in tier_faults(limits):
        faults.add(wrong, "let the more severe tier lie farther out", at=("limits", 0))
    return tuple(limits)


def _check_limit(raw: Mapping[str, Any], wanted: Wanted, faults: FaultList, at: Place) -> bool:
    required: tuple[str, ...] = ("since", "evidence", "source")
    if "bands" not in raw:
        required = (*required, "severity")
    before = len(faults.found)
    check_keys(raw, LIMIT_KEYS, required, faults, at)
    check_word(raw, "severity", SEVERITIES, faults, at)
    check_word(raw, "evidence", EVIDENCE, faults, at)
    check_word(raw, "only", GROUPS, faults, at)
    _check_unit(raw, wanted, faults, at)
    _check_bounds(raw, wanted, faults, at)
    if wanted.tolerance:
        said = raw.get("tolerance", {})
        tolerance = said if isinstance(said, dict) else {}
        check_keys(tolerance, dict.fromkeys(AGREED, "number"), tuple(AGREED), faults, at)
    elif "tolerance" in raw:
        faults.add("this kind has no tolerance", "leave it out", key="tolerance", at=at)
    return len(faults.found) == before


def _check_unit(raw: Mapping[str, Any], wanted: Wanted, faults: FaultList, at: Place) -> None:
    unit = raw.get("unit")
    if unit == wanted.unit:
        return
    if wanted.unit is None:
        faults.add("this kind of rule has no unit", "leave it out", key="unit", at=at)
        return
    wrong = "'unit' is missing" if unit is None else f"the unit '{unit}' is wrong"
    faults.add(wrong, f'write unit = "{wanted.unit}"', key="unit", at=at)


def _check_bounds(raw: Mapping[str, Any], wanted: Wanted, faults: FaultList, at: Place) -> None:
    said = [key for key in (*BOUNDS, "bands") if key in raw]
    if wanted.unit is None:
        for key in said:
            faults.add(f"this kind of rule has no '{key}'", "leave it out", key=key, at=at)
    elif not said:
        faults.add("the limit has no bound", f"add one of: {', '.join(BOUNDS)}", at=at)
    elif "bands" in raw and (len(said) > 1 or "severity" in raw):
        faults.add("bands say the bounds and severities", "leave the others out", at=at)
    for one, other in (("at_least", "more_than"), ("at_most", "less_than")):
        if one in raw and other in raw:
            faults.add("one side has two bounds", f"keep {one} or {other}", key=other, at=at)


def _limits_of(raw: Mapping[str, Any], faults: FaultList, at: Place) -> list[Limit]:
    plain = {key: value for key, value in raw.items() if key != "bands"}
    numbers = {key: float(plain[key]) for key in BOUNDS if key in plain}
    if "bands" not in raw:
        return [Limit(**{**plain, **numbers})]
    bands = _bands(raw["bands"], faults, at)
    wrongs = tiling_faults(bands) if bands else []
    for wrong in wrongs:
        faults.add(wrong, "let each band begin where the one before ends", key="bands", at=at)
    if not bands or wrongs:
        return []
    return [
        Limit(**{**plain, "severity": severity, key: value})
        for key, value, severity in edges(bands)
    ]


def _bands(raw: Sequence[Any], faults: FaultList, at: Place) -> list[Band]:
    before = len(faults.found)
    for each in raw:
        if not isinstance(each, dict):
            faults.add("a band is not a table", "write {severity = …}", key="bands", at=at)
            continue
        check_keys(each, BAND_KEYS, ("severity",), faults, at)
        check_word(each, "severity", (WITHIN_BAND, *SEVERITIES), faults, at)
    if len(raw) < 2:  # noqa: PLR2004 - one inside, one outside
        faults.add("there are fewer than two bands", "add the other", key="bands", at=at)
    if len(faults.found) > before:
        return []
    return [
        Band(
            each["severity"],
            _edge(each, "at_least", "more_than"),
            _edge(each, "at_most", "less_than"),
            "more_than" not in each,
            "at_most" in each,
        )
        for each in raw
    ]


def _edge(band: Mapping[str, Any], *keys: str) -> float | None:
    return next((float(band[key]) for key in keys if key in band), None)


def _check_dates(raw: Sequence[Any], faults: FaultList) -> None:
    newest: date | None = None
    for index, each in enumerate(raw):
        since = each.get("since") if isinstance(each, dict) else None
        if not isinstance(since, date) or not is_a(since, "day"):
            continue
        if newest is not None and since < newest:
            faults.add(
                f"the limit of {since} stands after that of {newest}",
                "write limits from the oldest to the newest",
                key="since",
                at=("limits", index),
            )
        newest = since


def tier_faults(limits: Sequence[Limit]) -> tuple[str, ...]:
    """Return what is wrong with tiers of one date: the severer bound must be the farther one.

    Examples
    --------
    >>> near = Limit(date(2020, 1, 1), "breach", "textbook", "-", "mm", at_least=15.0)
    >>> far = Limit(date(2020, 1, 1), "note", "textbook", "-", "mm", at_least=10.0)
    >>> tier_faults((near, far))
    ('tiers of 2020-01-01: the breach at 15 is not farther out than the note at 10',)
    """
    seen: set[str] = set()
    for since in sorted({limit.since for limit in limits}):
        for group in GROUPS:
            bounds = [
                bound
                for limit in limits
                if limit.since == since and limit.only in (None, group)
                for bound in limit_bounds(limit)
            ]
            seen.update(f"tiers of {since}: {wrong}" for wrong in _wrong_order(bounds))
    return tuple(sorted(seen))


def _wrong_order(bounds: Sequence[Bound]) -> list[str]:
    wrongs = []
    for index, one in enumerate(bounds):
        for other in bounds[index + 1 :]:
            mild, severe = sorted((one, other), key=lambda bound: severity_rank(bound.severity))
            if one.side != other.side:
                low, high = sorted((one, other), key=lambda bound: bound.side == "high")
                wrongs += _empty_words(low, high)
            elif _outwards(severe) < _outwards(mild) or one.limit == other.limit:
                wrongs.append(
                    f"the {severe.severity} at {severe.limit:g} is not farther out than "
                    f"the {mild.severity} at {mild.limit:g}"
                )
    return wrongs


def _outwards(bound: Bound) -> float:
    return -bound.limit if bound.side == "low" else bound.limit


def _empty_words(low: Bound, high: Bound) -> list[str]:
    if low.limit < high.limit:
        return []
    return [f"nothing lies between {low.limit:g} and {high.limit:g}"]
