"""One rule file: its keys, its scope, its limits and its examples, strictly read."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from referral.core.measure.registry import MEASURES
from referral.core.rules.derived import DERIVED
from referral.core.rules.finding import STAGES
from referral.core.rules.kinds import BOUNDED, KIND_JUDGES
from referral.core.rules.quantities import PLAN_MEASURES
from referral.core.rules.rule import AGAINST, FORE, HIND, KINDS, Applies, Rule
from referral.core.units import unit_of
from referral.rulebook.examples import Example, read_example
from referral.rulebook.faults import FaultList
from referral.rulebook.keys import check_keys, check_word, is_a
from referral.rulebook.limits import Wanted, read_limits

RULE_KEYS = {
    "id": "text",
    "title": "text",
    "says": "text",
    "kind": "text",
    "measure": "text",
    "of": "text",
    "against": "text",
    "relative": "yes/no",
    "words": "words",
    "optional": "yes/no",
    "stage": "text",
    "applies": "table",
    "limits": "list",
    "examples": "list",
}
RULE_REQUIRED = ("id", "title", "says", "kind", "stage", "limits", "examples")
APPLIES_KEYS = {
    "limb": "text",
    "animal": "words",
    "not_animal": "words",
    "condition": "words",
    "device": "words",
    "attachment": "words",
}
MEASURED = ("threshold", "difference")
OF_PLANS = frozenset({*PLAN_MEASURES, *DERIVED})
WORDED = ("film_doubts", "surface", "farrier_words")
"""What a rule is about that looks for words, which its file lists."""

LIMB_SETS = {"fore": FORE, "hind": HIND, "all": FORE | HIND}
ANY_ANIMAL = "any"
ID_FORM = re.compile(r"[A-Z][A-Z0-9]*\d\d+")


@dataclass(frozen=True, slots=True)
class RuleFile:
    """A rule with the file it came from and its examples."""

    path: str
    rule: Rule
    examples: tuple[Example, ...]


def read_rule_file(path: Path, root: Path, origin: str, faults: FaultList) -> RuleFile | None:
    """Return one file's rule; ``None`` with the reasons in ``faults`` if it cannot be used.

    Parameters
    ----------
    path, root : Path
        The file, and the folder of the rulebook that it lies in.
    origin : str
        ``shipped`` or ``practice``.
    faults : FaultList
        Made with the file's name and text; takes what is wrong.

    Examples
    --------
    >>> faults = FaultList("sole/R04.toml", "id = ")
    >>> read_rule_file(Path("sole/R04.toml"), Path(), "shipped", faults)
    >>> faults.found[0].line
    1
    """
    try:
        raw = tomllib.loads(faults.text)
    except (ValueError, RecursionError) as error:  # a number too long, tables too deep
        where = re.search(r"at line (\d+)", str(error))
        at_end = faults.text.count("\n") + 1
        line = int(where.group(1)) if where else at_end
        faults.add_line(line, f"this is not TOML: {error}", "mend the line")
        return None
    _check_place(path, root, faults)
    rule = _read_rule(raw, path.stem, origin, faults)
    examples = _read_examples(raw, faults)
    return None if faults.found or rule is None else RuleFile(faults.file, rule, examples)


def _check_place(path: Path, root: Path, faults: FaultList) -> None:
    if len(path.relative_to(root).parts) != 2:  # noqa: PLR2004 - topic and file
        faults.add("the file is not in a topic folder", "put it at <topic>/<rule id>.toml")


def _read_rule(raw: Mapping[str, Any], stem: str, origin: str, faults: FaultList) -> Rule | None:
    if not check_keys(raw, RULE_KEYS, RULE_REQUIRED, faults):
        return None
    check_word(raw, "kind", KINDS, faults, ("", 0))
    check_word(raw, "stage", STAGES, faults, ("", 0))
    if not ID_FORM.fullmatch(raw["id"]):
        faults.add(f"the id '{raw['id']}' is no id", "write capitals and two figures", key="id")
    elif raw["id"] != stem:
        faults.add(
            f"the id is {raw['id']} but the file is {stem}.toml", "name both alike", key="id"
        )
    _check_subject(raw, faults)
    if not raw["limits"]:
        faults.add("there is no limit", "add one [[limits]]", key="limits")
    limits = read_limits(raw["limits"], _wanted(raw), faults)
    applies = _applies(raw.get("applies", {}), faults)
    return Rule(
        raw["id"],
        raw["title"],
        raw["says"],
        raw["kind"],
        raw["stage"],
        limits,
        raw.get("measure"),
        raw.get("of"),
        applies,
        origin,
        raw.get("against"),
        raw.get("relative", False),
        tuple(raw.get("words", ())),
        raw.get("optional", False),
    )


def _check_subject(raw: Mapping[str, Any], faults: FaultList) -> None:
    """Note a rule whose measure, subject or words do not belong to its kind."""
    kind, of, measure = raw["kind"], raw.get("of"), raw.get("measure")
    if kind in MEASURED:
        known_here = measure in MEASURES or (kind == "threshold" and measure in OF_PLANS)
        if not known_here:
            wrong = f"a {kind} needs a measure that is known"
            faults.add(wrong, "name a reading or a number of the plan", key="measure")
        if of is not None:
            faults.add(f"a {kind} has no 'of'", "leave it out", key="of")
    else:
        if measure is not None:
            wrong = f"a rule of kind {kind} has no measure"
            faults.add(wrong, "say what it is about in 'of'", key="measure")
        known = [name for each, name in KIND_JUDGES if each == kind]
        if kind in KINDS and of not in known:
            wrong = f"'of' is not something {kind} knows"
            faults.add(wrong, f"use one of: {', '.join(known)}", key="of")
    _check_against(raw, faults)
    if bool(raw.get("words")) != (of in WORDED):
        mend = "add a list of them" if of in WORDED else "leave it out"
        faults.add(f"'words' belongs to {', '.join(WORDED)}", mend, key="words")


def _check_against(raw: Mapping[str, Any], faults: FaultList) -> None:
    """Note a difference to nothing, or another kind that is compared with something."""
    is_difference = raw["kind"] == "difference"
    if is_difference and raw.get("against") not in AGAINST:
        faults.add(
            "a difference is taken to nothing known",
            f"write against = one of: {', '.join(AGAINST)}",
            key="against",
        )
    if not is_difference:
        for key in ("against", "relative"):
            if key in raw:
                faults.add(f"only a difference has '{key}'", "leave it out", key=key)


def _wanted(raw: Mapping[str, Any]) -> Wanted:
    kind, of, measure = raw["kind"], raw.get("of"), raw.get("measure") or ""
    if kind in MEASURED:
        derived = DERIVED.get(measure)
        unit = derived.unit if derived else unit_of(measure)
        return Wanted("percent" if raw.get("relative") else unit)
    return Wanted(BOUNDED.get((kind, of or "")), tolerance=of == "fitted_as_signed")


def _applies(raw: Mapping[str, Any], faults: FaultList) -> Applies:
    at = ("applies", 0)
    if not check_keys(raw, APPLIES_KEYS, (), faults, at):
        return Applies()
    check_word(raw, "limb", tuple(LIMB_SETS), faults, at)
    animals = raw.get("animal", ["adult_horse"])
    sets = {key: frozenset(raw[key]) for key in ("condition", "device", "attachment") if key in raw}
    return Applies(
        LIMB_SETS.get(raw.get("limb", "fore"), FORE),
        None if ANY_ANIMAL in animals else frozenset(animals),
        frozenset(raw.get("not_animal", ())),
        sets.get("condition"),
        sets.get("device"),
        sets.get("attachment"),
    )


def _read_examples(raw: Mapping[str, Any], faults: FaultList) -> tuple[Example, ...]:
    measure = raw["measure"] if is_a(raw.get("measure"), "text") else None
    stage = raw["stage"] if is_a(raw.get("stage"), "text") else "now"
    listed = raw.get("examples", [])
    examples = [
        read_example(each, measure, stage, faults, ("examples", index))
        for index, each in enumerate(listed if isinstance(listed, list) else [])
        if isinstance(each, dict)
    ]
    found = [example for example in examples if example is not None]
    wanted = ["WITHIN", "OUTSIDE", "CANNOT_TELL"]
    if measure in MEASURES and raw.get("against") != "previous":
        wanted.append("TOO_CLOSE")
    missing = [each for each in wanted if each not in {example.verdict for example in found}]
    if missing:
        faults.add(
            f"no example is {', '.join(missing)}", "add an [[examples]] of each", key="examples"
        )
    return tuple(found)
