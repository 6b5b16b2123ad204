"""Whatever stands in a rule's file, it is a rule or a list of faults, never anything else."""

import random
import re
from pathlib import Path

import pytest

from referral.rulebook.checking import example_faults
from referral.rulebook.faults import FaultList
from referral.rulebook.loader import SHIPPED
from referral.rulebook.rule_file import read_rule_file
from tests.rulebook.texts import GOOD

TEXTS = [path.read_text(encoding="utf-8") for path in sorted(SHIPPED.rglob("*.toml"))]
VALUES = (
    '""', '"x"', "1", "-1", "0", "1e300", "nan", "inf", "-inf", "true", "[]", "[1]", '["a"]', "{}",
    "{a = 1}", "{ value = 1 }", "2026-01-31", "2026-01-31T00:00:00", "9999-12-31", "0001-01-01",
    "12:00:00", "[[]]", "[{}]", "{x = nan}", '"case:0"', '"LF"', '"WITHIN"', "1" + "0" * 30,
)  # fmt: skip
KEYS = (
    "plan", "facts", "film", "readings", "as_fitted", "value", "u", "on", "limb", "conditions",
    "words", "of", "against", "relative", "applies", "only", "tolerance", "bands", "on_case",
)  # fmt: skip
NUMBER = re.compile(r"-?\d+(\.\d+)?|nan")


def spoilt(text, rng):
    """Return the text with a few of its lines gone, repeated, moved or saying something else."""
    lines = text.splitlines()
    for _change in range(rng.choice((1, 1, 2, 3))):
        place = rng.randrange(len(lines))
        way = rng.choice(("drop", "repeat", "say", "say", "add", "number"))
        if way == "drop":
            lines[place] = ""
        elif way == "repeat":
            lines.insert(place, rng.choice(lines))
        elif way == "say":
            lines[place] = f"{lines[place].partition('=')[0]}= {rng.choice(VALUES)}"
        elif way == "add":
            lines.insert(place, f"{rng.choice(KEYS)} = {rng.choice(VALUES)}")
        else:
            lines[place] = NUMBER.sub(rng.choice(VALUES), lines[place], count=1)
    return "\n".join(lines)


def read(text):
    faults = FaultList("sole/R90.toml", text)
    file = read_rule_file(Path("sole/R90.toml"), Path(), "practice", faults)
    found = [*faults.found, *(example_faults(file, text) if file else ())]
    return file, found


@pytest.mark.parametrize("seed", range(12))
def test_a_spoilt_file_is_a_rule_or_has_faults(seed):
    rng = random.Random(seed)
    for _try in range(60):
        text = re.sub(r'id = "R\d+"', 'id = "R90"', spoilt(rng.choice(TEXTS), rng))
        file, found = read(text)
        assert file is not None or found
        assert all(each.wrong and each.mend for each in found)


@pytest.mark.parametrize("key", ["measure", "stage"])
@pytest.mark.parametrize("value", ["[]", "{}", "1.5", "true", "2026-01-31", "12:00:00"])
def test_a_subject_that_is_no_text_is_a_fault_at_its_line(key, value):
    text = re.sub(rf'{key} = ".*"', f"{key} = {value}", GOOD)
    file, found = read(text)
    assert file is None
    assert f"'{key}' is wrong" in {each.wrong for each in found}


@pytest.mark.parametrize("value", ["9" * 400, "9" * 5000, "[" * 3000])
def test_numbers_too_long_and_lists_too_deep_are_faults(value):
    file, found = read(GOOD.replace("at_least = 15", f"at_least = {value}"))
    assert file is None
    assert found
