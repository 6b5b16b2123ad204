"""Try a rule that somebody set otherwise: its own examples, and values stated for it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType
from typing import Any

from referral.core.measure.readings import Measured
from referral.core.predict.plan import Plan
from referral.core.rules.quantities import PLAN_MEASURES
from referral.core.rules.rule import Rule
from referral.rulebook.examples import Example, run_example
from referral.rulebook.rule_file import RuleFile

UNMOVED = frozenset({"CANNOT_TELL", "NOT_APPLICABLE"})
"""Answers that no limit decides, so that no change of limits may change them."""

UNWEIGHED = frozenset({"WITHIN", "NOT_APPLICABLE"})
NO_ANSWER = "nothing"


@dataclass(frozen=True, slots=True)
class TriedExample:
    """One example of a rule, with what the rule answered and what it would answer."""

    example: Example
    before: tuple[str, str]
    after: tuple[str, str]

    @property
    def is_changed(self) -> bool:
        """Return whether the answer would be another one; how severe what passes is, is not one."""
        if self.before[0] == self.after[0] and self.before[0] in UNWEIGHED:
            return False
        return self.before != self.after

    @property
    def is_wrong(self) -> bool:
        """Return whether the change would break an answer that limits do not decide."""
        return self.before[0] != self.after[0] and bool(
            {self.before[0], self.after[0]} & {*UNMOVED, NO_ANSWER}
        )


def tried_examples(file: RuleFile, changed: Rule) -> tuple[TriedExample, ...]:
    """Return every example of a rule as it was answered and as the changed rule answers it.

    Parameters
    ----------
    file : RuleFile
        The rule as it was, with its examples.
    changed : Rule
        The same rule with other limits; they are taken as of the first day.

    Examples
    --------
    >>> from pathlib import Path
    >>> from referral.rulebook.checking import read_to_check
    >>> (file,) = read_to_check(Path(__file__).parent / "sole" / "R04.toml")
    >>> any(each.is_changed for each in tried_examples(file, file.rule))
    False
    """
    since_ever = replace(
        changed, limits=tuple(replace(each, since=date.min) for each in changed.limits)
    )
    return tuple(
        TriedExample(each, answer_of(file.rule, each), answer_of(since_ever, each))
        for each in file.examples
    )


def answer_of(rule: Rule, example: Example) -> tuple[str, str]:
    """Return the verdict and severity of a rule on an example; ``nothing`` if it was not run.

    Examples
    --------
    >>> from pathlib import Path
    >>> from referral.rulebook.checking import read_to_check
    >>> (file,) = read_to_check(Path(__file__).parent / "sole" / "R04.toml")
    >>> answer_of(file.rule, file.examples[4])
    ('OUTSIDE', 'breach')
    """
    found = run_example(rule, example)
    return (found.verdict, found.severity) if found else (NO_ANSWER, "note")


def with_value(file: RuleFile, value: float) -> tuple[Example, ...]:
    """Return examples of a rule with this value and no uncertainty; none if it has no number.

    Parameters
    ----------
    file : RuleFile
        A threshold on a reading, or on a number that the plan states.
    value : float
        In the unit of the rule's limits.

    Returns
    -------
    tuple of Example
        One of a foot with a condition and one of a foot without, as far as the rule's examples
        have such a foot within the limits; the rest is as in those.

    Examples
    --------
    >>> from pathlib import Path
    >>> from referral.rulebook.checking import read_to_check
    >>> (file,) = read_to_check(Path(__file__).parent / "sole" / "R04.toml")
    >>> [answer_of(file.rule, each) for each in with_value(file, 9.0)]
    [('OUTSIDE', 'breach')]
    """
    found: dict[bool, Example] = {}
    for each in file.examples:
        group = bool(each.inputs.profile.conditions)
        made = _with_value(file.rule, each, value) if each.verdict == "WITHIN" else None
        if made is not None:
            found.setdefault(group, made)
    return tuple(found.values())


def _with_value(rule: Rule, example: Example, value: float) -> Example | None:
    inputs = example.inputs
    if rule.kind != "threshold" or rule.measure is None:
        return None
    if rule.measure in PLAN_MEASURES:
        said: dict[str, Any] = {**HEELS, rule.measure: value}
        plan = replace(inputs.plan or Plan(), **said)
        return replace(example, inputs=replace(inputs, plan=plan))
    measured = inputs.stages.get(rule.stage)
    if measured is None or rule.measure not in measured.readings:
        return None
    reading = replace(measured.readings[rule.measure], value=value, u=0.0)
    stages = {**inputs.stages, rule.stage: Measured({**measured.readings, rule.measure: reading})}
    return replace(example, inputs=replace(inputs, stages=stages))


HEELS: Mapping[str, None] = MappingProxyType(
    {"heel_trim_medial_mm": None, "heel_trim_lateral_mm": None}
)
"""Each heel said apart goes before both together, so it is left out of a stated value."""
