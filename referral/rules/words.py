"""A rule in plain words: what it says and compares, for which feet, its limits, its examples."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date

from referral.core.measure.readings import Reading
from referral.core.measure.registry import MEASURES
from referral.core.rules.derived import DERIVED
from referral.core.rules.rule import FORE, HIND, Applies, Limit, Rule, severity_rank
from referral.core.units import unit_of
from referral.rulebook.examples import Example
from referral.rulebook.rule_file import RuleFile
from referral.web.written import LIMBS, SIGNS, day, words

SINGLE = {"WITHIN": "within", "OUTSIDE": "outside", "TOO_CLOSE": "too close to call",
          "CANNOT_TELL": "cannot tell", "NOT_APPLICABLE": "does not apply"}  # fmt: skip
STAGES: Mapping[str, str] = {
    "now": "as the foot stands now",
    "after_fit": "after fitting, as the plan foretells it",
    "at_due": "on the due date, as the plan foretells it",
    "as_fitted": "as it was really fitted",
    "change": "as the change from now to after fitting",
}
AGAINST: Mapping[str, str] = {
    "previous": "against the visit before",
    "opposite": "against the other foot of the pair",
}
SUBJECTS: Mapping[str, str] = {
    "wedge": "the wedge's degrees against its millimetres over the length it lies on",
    "pair_lift": "shoe and pad together against those of the other foot",
    "film_scale": "whether the film has a scale that may be relied on",
    "film_before_trim": "whether there is a film from before the trim",
    "recent_film": "how old the film is on the day of fitting",
    "recheck": "whether a recheck has an owner and a day",
    "red_flags": "the red flags that were asked about",
    "founder_rise": "the founder distance against the visit before, the tilt taken out",
    "film_doubts": "what makes the film doubtful",
    "fitted_as_signed": "what was fitted against the plan that was signed",
    "frog_plate": "how high a frog plate stands above the shoe",
    "surface": "the ground the horse goes on, and the reason for the shoe",
    "turned_back": "whether trim and wedge turn the foot back with no breakover set back",
    "wedge_on_weak_heels": "whether a wedge stands on damaged heels",
    "lameness_scale": "whether a lameness value names its scale",
    "identity": "the form of the horse's chip number and UELN",
    "farrier_words": "words of a vet's work in a farrier's entry",
}
"""What a rule that is no threshold looks at, by its ``of``."""

OF_PLAN: Mapping[str, str] = {
    "toe_trim_mm": "Off the toe",
    "heel_trim_mm": "Off the heels",
    "toe_dress_mm": "Dressed off the toe",
    "sole_pare_mm": "Pared off the sole",
    "wedge_deg": "Wedge",
    "wedge_mm": "Wedge height",
    "interval_weeks": "Interval",
}
LIMB_WORDS = {FORE: "forefeet", HIND: "hind feet", FORE | HIND: "all feet"}
BOUNDS = (
    ("at_least", "at least"),
    ("more_than", "more than"),
    ("at_most", "at most"),
    ("less_than", "less than"),
)
GROUPS = {"therapeutic": "feet with a condition", "routine": "feet without a condition"}
UNITS = {**SIGNS, "deg": "°", "percent": " %", "mm": " mm", "weeks": " weeks"}
NO_NUMBER = "no number: it is so, or it is not"
HIDDEN = frozenset({"u", "unit", "scale_state", "basis", "code", "execution_u"})


@dataclass(frozen=True, slots=True)
class LimitSaid:
    """One dated limit; ``fix`` is its own sentence, where it has one."""

    since: date
    says: str
    severity: str
    evidence: str
    source: str
    group: str
    fix: str | None


@dataclass(frozen=True, slots=True)
class ExampleSaid:
    """One example: what goes in, and what must come out."""

    given: str
    verdict: str
    severity: str | None


@dataclass(frozen=True, slots=True)
class RuleSaid:
    """One rule as a page and the command show it; limits from the newest to the oldest."""

    id: str
    topic: str
    title: str
    says: str
    compares: str
    stage: str
    feet: str
    origin: str
    worst: str
    limits: tuple[LimitSaid, ...]
    older: tuple[LimitSaid, ...]
    examples: tuple[ExampleSaid, ...]

    @property
    def since(self) -> date:
        """The day of the newest limits."""
        return self.limits[0].since

    @property
    def evidence(self) -> tuple[str, ...]:
        """What the newest limits rest on, each once."""
        return tuple(dict.fromkeys(each.evidence for each in self.limits))


def rule_said(rule: Rule, topic: str = "", examples: tuple[Example, ...] = ()) -> RuleSaid:
    """Return a rule in plain words."""
    newest = max(limit.since for limit in rule.limits)
    severities = [limit.severity for limit in rule.limits if limit.since == newest]
    dated = sorted(rule.limits, key=lambda limit: limit.since, reverse=True)
    said = [(limit.since == newest, limit_said(limit)) for limit in dated]
    return RuleSaid(
        id=rule.id,
        topic=topic,
        title=rule.title,
        says=rule.says,
        compares=compares(rule),
        stage=STAGES[rule.stage],
        feet=feet(rule.applies),
        origin=rule.origin,
        worst=max(severities, key=severity_rank),
        limits=tuple(each for is_new, each in said if is_new),
        older=tuple(each for is_new, each in said if not is_new),
        examples=tuple(example_said(each) for each in examples),
    )


def file_said(file: RuleFile) -> RuleSaid:
    """Return the rule of a file in plain words, with its examples."""
    return rule_said(file.rule, file.path.partition("/")[0], file.examples)


def measure_name(measure: str) -> str:
    """Return what a measure is called."""
    if measure in MEASURES:
        return MEASURES[measure].name
    if measure in DERIVED:
        return DERIVED[measure].name
    return OF_PLAN.get(measure, words(measure))


def compares(rule: Rule) -> str:
    """Return what a rule looks at."""
    if rule.measure is None:
        return SUBJECTS.get(rule.of or "", words(rule.of))
    name = measure_name(rule.measure)
    return f"{name}, {AGAINST[rule.against]}" if rule.against else name


def feet(applies: Applies) -> str:
    """Return the feet a rule is for, in words."""
    animals = "any animal"
    if applies.animals is not None:
        animals = _either(applies.animals)
    if applies.not_animals:
        animals += f" but {_either(applies.not_animals)}"
    said = [animals, LIMB_WORDS.get(applies.limbs, ", ".join(sorted(applies.limbs)))]
    if applies.conditions is not None:
        said.append(f"with {_either(applies.conditions)}")
    if applies.devices is not None:
        any_shoe = "any" in applies.devices
        said.append("in any shoe" if any_shoe else f"in {_either(applies.devices)} shoes")
    if applies.attachments is not None:
        said.append(f"attached by {_either(applies.attachments)}")
    return ", ".join(said)


def _either(codes: frozenset[str]) -> str:
    return " or ".join(words(code) for code in sorted(codes))


def limit_said(limit: Limit) -> LimitSaid:
    """Return a dated limit in words."""
    unit = UNITS.get(limit.unit or "", f" {words(limit.unit)}" if limit.unit else "")
    bounds = [
        f"{word} {value:g}{unit}"
        for key, word in BOUNDS
        if (value := getattr(limit, key)) is not None
    ]
    tolerances = [
        f"{words(key.rpartition('_')[0] or key)} within {value:g}"
        f"{UNITS.get(key.rpartition('_')[2], '')}"
        for key, value in limit.tolerance.items()
    ]
    return LimitSaid(
        since=limit.since,
        says=" and ".join(bounds) or ", ".join(tolerances) or NO_NUMBER,
        severity=limit.severity,
        evidence=limit.evidence,
        source=limit.source,
        group=GROUPS.get(limit.only or "", ""),
        fix=limit.says,
    )


def example_said(example: Example) -> ExampleSaid:
    """Return an example in words: the foot, what is known of it, and the answer wanted."""
    inputs = example.inputs
    profile = inputs.profile
    foot = f"{LIMBS[profile.limb]}, {words(profile.animal)}"
    if profile.conditions:
        foot += f", {_either(profile.conditions)}"
    said = [foot]
    for stage, measured in inputs.stages.items():
        said += [
            f"{_reading_said(each)}, {STAGES[stage].partition(',')[0]}"
            for each in measured.readings.values()
        ]
    parts = (("plan", inputs.plan), ("fitted", inputs.as_fitted), ("said", inputs.facts))
    said += [f"{name}: {text}" for name, part in parts if part and (text := _said(part))]
    if inputs.film is not None:
        said.append(_film_said(inputs.film.scale.state, inputs.film.taken_on))
    if len(said) == 1:
        said.append("nothing known")
    return ExampleSaid("; ".join(said), SINGLE[example.verdict], example.severity)


def _film_said(state: str, taken_on: date | None) -> str:
    scale = {"none": "without scale", "estimated": "with an estimated scale"}
    taken = f" of {day(taken_on)}" if taken_on else ""
    return f"film{taken} {scale.get(state, 'with a scale')}"


def _reading_said(reading: Reading) -> str:
    value = f"{reading.value:g}"
    if reading.u:
        value += f" ± {2 * reading.u:g}"
    doubt = {"none": " (no scale)", "estimated": " (scale estimated)"}.get(reading.scale_state, "")
    unit = UNITS.get(reading.unit, f" {reading.unit}" if reading.unit else "")
    return f"{measure_name(reading.code)} {value}{unit}{doubt}"


def _said(part: object) -> str:
    """Return what a plan, the facts or a part of them say beyond what they are made with."""
    if isinstance(part, Mapping):
        return ", ".join(_said(each) for each in part.values())
    if isinstance(part, tuple):
        return ", ".join(_said(each) for each in part) or "none"
    if isinstance(part, Reading):
        return _reading_said(part)
    if not is_dataclass(part):
        return _value_said(part)
    said = []
    for each in fields(part):
        value = getattr(part, each.name)
        if each.name not in HIDDEN and value != each.default and value is not None:
            said.append(_field_said(each.name, value))
    return ", ".join(said)


def _value_said(value: object) -> str:
    if isinstance(value, date):
        return day(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return "not known" if math.isnan(value) else f"{value:g}"
    return words(str(value))


def _field_said(name: str, value: object) -> str:
    unit = unit_of(name) or ""
    label = words(name.removesuffix(f"_{unit}") if unit else name)
    return f"{label} {_said(value)}{UNITS.get(unit, '')}"
