"""The rule files of a running instance, with topics and examples, and own rules from their text."""

from functools import lru_cache
from pathlib import Path

from referral.rulebook.checking import example_faults
from referral.rulebook.faults import Fault, FaultList
from referral.rulebook.loader import SHIPPED, read_rule_files
from referral.rulebook.rule_file import RuleFile, read_rule_file

TOPICS = (
    ("film", "Film"),
    ("angles", "Angles"),
    ("balance", "Balance"),
    ("breakover", "Breakover"),
    ("sole", "Sole"),
    ("foot", "Foot"),
    ("trim", "Trim"),
    ("wedge", "Wedge"),
    ("shoe", "Shoe"),
    ("nails", "Nails"),
    ("interval", "Interval"),
    ("safety", "Safety"),
    ("record", "Record"),
)


@lru_cache(maxsize=8)
def rule_files(own: Path | None = None) -> tuple[RuleFile, ...]:
    """Return every rule file of an instance, read once, by id; ``own`` is the instance's folder."""
    found = read_rule_files(SHIPPED, "shipped")
    if own is not None:
        found = (*found, *read_rule_files(own, "practice"))
    return tuple(sorted(found, key=lambda each: each.rule.id))


def topic_of(file: RuleFile) -> str:
    """Return the topic that a rule stands under."""
    return file.path.partition("/")[0]


def read_own(text: str, topic: str, rule_id: str) -> tuple[RuleFile | None, tuple[str, ...]]:
    """Return an organisation's own rule from its text, and everything wrong with it.

    A rule with faults in its examples alone is given with them.
    """
    path = Path(topic) / f"{rule_id}.toml"
    faults = FaultList(path.as_posix(), text)
    file = read_rule_file(path, Path(), "practice", faults)
    found = [*faults.found, *(example_faults(file, text) if file else ())]
    return file, tuple(_said(each) for each in found)


def _said(fault: Fault) -> str:
    line = f"line {fault.line}: " if fault.line else ""
    return f"{line}{fault.wrong}; {fault.mend}"
