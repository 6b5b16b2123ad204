"""Examples in rule files: what goes in and the verdict that must come out."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date
from types import NoneType, UnionType
from typing import Any, get_args, get_origin

from referral.core.geometry.scale import Scale
from referral.core.measure.film import Film
from referral.core.measure.readings import Measured, Profile, Reading
from referral.core.predict.plan import Clip, Nails, Plan, Shoe
from referral.core.rules.facts import Facts, Lameness, Opposite, Previous
from referral.core.rules.finding import SEVERITIES, STAGES, VERDICTS, Finding
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import judge
from referral.core.rules.rule import LIMBS, Rule, Rulebook
from referral.core.units import unit_of
from referral.rulebook.faults import FaultList
from referral.rulebook.keys import Place, check_keys, check_word

EXAMPLE_KEYS = {
    "verdict": "text",
    "severity": "text",
    "reason": "text",
    "on": "day",
    "limb": "text",
    "animal": "text",
    "conditions": "words",
    "value": "number",
    "u": "number",
    "scale_state": "text",
    "readings": "table",
    "plan": "table",
    "as_fitted": "table",
    "facts": "table",
    "film": "table",
    "on_case": "yes/no",
}
READING_KEYS = {"value": "number", "u": "number", "scale_state": "text", "basis": "text"}
FILM_KEYS = {"state": "text", "conflict": "yes/no", "trim": "text", "taken_on": "day"}
PREVIOUS_KEYS = {"on": "day", "readings": "table"}
OPPOSITE_KEYS = {"readings": "table", "lift_mm": "number", "is_club": "yes/no"}
PARTS: Mapping[str, type] = {
    "shoe": Shoe,
    "nails": Nails,
    "lameness": Lameness,
    "lameness_before": Lameness,
}
COMPARED: Mapping[str, tuple[type, Mapping[str, str], tuple[str, ...]]] = {
    "previous": (Previous, PREVIOUS_KEYS, ("on",)),
    "opposite": (Opposite, OPPOSITE_KEYS, ()),
}
WANTED: Mapping[type, str] = {
    float: "a number",
    int: "a whole number",
    str: "text in quotes",
    tuple: "a list of texts",
    bool: "true or false",
    date: "a date such as 2026-01-31, without quotes",
}
FAR_DAY = date(9999, 12, 31)


@dataclass(frozen=True, slots=True)
class Example:
    """Inputs, and the verdict (severity and reason if given) of the worst finding on them.

    ``on_case`` says that everything is asked there, so that what is not said is missing.
    """

    inputs: Inputs
    on: date
    verdict: str
    severity: str | None = None
    reason: str | None = None
    on_case: bool = False


def read_example(
    raw: Mapping[str, Any], measure: str | None, stage: str, faults: FaultList, at: Place
) -> Example | None:
    """Return an example of a rule on a measure at a stage; ``None`` if it has faults.

    Examples
    --------
    >>> faults = FaultList("R01.toml", "")
    >>> raw = {"verdict": "OUTSIDE", "value": 12}
    >>> example = read_example(raw, "sole_depth_tip_mm", "after_fit", faults, ("examples", 0))
    >>> example.inputs.stages["after_fit"].readings["sole_depth_tip_mm"].value
    12.0
    """
    before = len(faults.found)
    check_keys(raw, EXAMPLE_KEYS, ("verdict",), faults, at)
    check_word(raw, "verdict", VERDICTS, faults, at)
    check_word(raw, "severity", SEVERITIES, faults, at)
    check_word(raw, "limb", LIMBS, faults, at)
    if len(faults.found) > before:
        return None
    on = raw.get("on", FAR_DAY)
    conditions = frozenset(raw.get("conditions", ()))
    profile = Profile(raw.get("limb", "LF"), raw.get("animal", "adult_horse"), on, conditions)
    stages = _stages(raw, measure, stage, faults, at)
    inputs = Inputs(
        profile=profile,
        stages=stages,
        plan=_plan(raw.get("plan"), faults, at),
        as_fitted=_plan(raw.get("as_fitted"), faults, at),
        facts=_facts(raw.get("facts"), faults, at),
        film=_film(raw.get("film"), faults, at),
    )
    if len(faults.found) > before:
        return None
    return Example(
        inputs,
        on,
        raw["verdict"],
        raw.get("severity"),
        raw.get("reason"),
        raw.get("on_case", False),
    )


def run_example(rule: Rule, example: Example) -> Finding | None:
    """Return the worst finding of one rule on an example; ``None`` if it could not run.

    Examples
    --------
    >>> from referral.core.rules.rule import Limit
    >>> tier = Limit(date(2026, 1, 1), "caution", "textbook", "-", "mm", at_least=15.0)
    >>> rule = Rule("X01", "Sole", "Leave more.", "threshold", "now", (tier,), "sole_depth_tip_mm")
    >>> raw = {"verdict": "OUTSIDE", "value": 12}
    >>> faults = FaultList("X01.toml", "")
    >>> run_example(rule, read_example(raw, rule.measure, "now", faults, ("", 0))).verdict
    'OUTSIDE'
    """
    findings = judge(
        example.inputs, Rulebook((rule,), ""), (), example.on, complete=example.on_case
    ).findings
    return findings[0] if findings else None


def _stages(
    raw: Mapping[str, Any], measure: str | None, stage: str, faults: FaultList, at: Place
) -> Mapping[str, Measured]:
    """Return the readings by stage; ``value`` is short for the rule's own measure and stage."""
    said = raw.get("readings", {})
    check_keys(said, dict.fromkeys(STAGES, "table"), (), faults, at)
    tables = {name: dict(table) for name, table in said.items() if isinstance(table, dict)}
    if "value" in raw and measure is not None:
        short = {key: raw[key] for key in ("value", "u", "scale_state") if key in raw}
        tables.setdefault(stage, {})[measure] = short
    if not tables and measure is not None:
        tables[stage] = {}
    stages = {}
    for name, table in tables.items():
        check_keys(table, dict.fromkeys(table, "table"), (), faults, at)
        stages[name] = Measured(_readings(table, faults, at))
    return stages


def _readings(table: Mapping[str, Any], faults: FaultList, at: Place) -> dict[str, Reading]:
    return {
        code: _reading(code, each, faults, at)
        for code, each in table.items()
        if isinstance(each, dict)
    }


def _reading(code: str, raw: Mapping[str, Any], faults: FaultList, at: Place) -> Reading:
    if not check_keys(raw, READING_KEYS, ("value",), faults, at):
        return Reading(code, 0.0, 0.0, "", "", "")
    return Reading(
        code,
        float(raw["value"]),
        float(raw.get("u", 0.0)),
        unit_of(code) or "",
        raw.get("scale_state", "marker"),
        raw.get("basis", "film"),
    )


def _built(made: type, raw: Mapping[str, Any] | None, faults: FaultList, at: Place) -> Any:  # noqa: ANN401 - an instance of ``made``
    """Return a plan or a part of one from its table; ``None`` without a good table."""
    if raw is None:
        return None
    known = {each.name: each.type for each in fields(made)}
    before = len(faults.found)
    raw = {key: tuple(value) if isinstance(value, list) else value for key, value in raw.items()}
    for key, value in raw.items():
        if key not in known:
            faults.add(f"unknown key '{key}'", f"use one of: {', '.join(known)}", key=key, at=at)
        elif not _fits(value, dict if key in PARTS else known[key]):
            wanted = _wanted_words(dict if key in PARTS else known[key])
            faults.add(f"'{key}' is wrong", f"write {wanted}", key=key, at=at)
    if len(faults.found) > before:
        return None
    return made(
        **{
            key: _built(PARTS[key], value, faults, at) if key in PARTS else value
            for key, value in raw.items()
        }
    )


def _kinds(annotation: Any) -> list[type]:  # noqa: ANN401 - a type as a dataclass names it
    """Return the plain types that a field takes, None left out."""
    named = get_args(annotation) if isinstance(annotation, UnionType) else (annotation,)
    return [get_origin(each) or each for each in named if each is not NoneType]


def _fits(value: object, annotation: object) -> bool:
    kinds = _kinds(annotation)
    if float in kinds:
        return isinstance(value, int | float) and not isinstance(value, bool)
    return isinstance(value, tuple(kinds))


def _wanted_words(annotation: object) -> str:
    return next((WANTED[each] for each in _kinds(annotation) if each in WANTED), "a table")


def _plan(raw: Mapping[str, Any] | None, faults: FaultList, at: Place) -> Plan | None:
    said = dict(raw) if raw is not None else None
    if said and isinstance(said.get("clips"), list):
        said["clips"] = tuple(_built(Clip, each, faults, at) for each in said["clips"])
    plan: Plan | None = _built(Plan, said, faults, at)
    return plan


def _facts(raw: Mapping[str, Any] | None, faults: FaultList, at: Place) -> Facts | None:
    said = dict(raw) if raw is not None else None
    for key, (made, known, required) in COMPARED.items():
        table = said.get(key) if said else None
        if said is None or not isinstance(table, dict):
            continue
        if check_keys(table, known, required, faults, at):
            readings = _readings(table.get("readings", {}), faults, at)
            said[key] = made(**{**table, "readings": readings})
        else:
            del said[key]
    facts: Facts | None = _built(Facts, said, faults, at)
    return facts


def _film(raw: Mapping[str, Any] | None, faults: FaultList, at: Place) -> Film | None:
    """Return a film without landmarks: its scale, its day, its trim."""
    if raw is None or not check_keys(raw, FILM_KEYS, ("state",), faults, at):
        return None
    scale = Scale(raw["state"], None, None, 0.0, raw.get("conflict", False))
    return Film(
        "lateromedial",
        None,
        None,
        scale,
        None,
        taken_on=raw.get("taken_on"),
        trim=raw.get("trim", "before"),
    )
