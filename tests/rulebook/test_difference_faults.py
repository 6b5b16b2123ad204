"""A difference, or a rule that looks for words, whose file is wrong is refused."""

import pytest

from referral.rulebook.loader import load_rulebook
from tests.rulebook.texts import faults_of, write

DIFFERENCE = """\
id = "R92"
title = "Bone angle"
says = "Look again."
kind = "difference"
measure = "bone_angle_deg"
against = "previous"
stage = "now"

[[limits]]
since = 2020-01-01
at_most = 2
unit = "deg"
severity = "caution"
evidence = "textbook"
source = "A book, p. 1"

[[examples]]
verdict = "WITHIN"
value = 44
facts = { previous = { on = 2026-10-01, readings = { bone_angle_deg = { value = 44 } } } }

[[examples]]
verdict = "OUTSIDE"
value = 44
facts = { previous = { on = 2026-10-01, readings = { bone_angle_deg = { value = 47 } } } }

[[examples]]
verdict = "CANNOT_TELL"
facts = { previous = { on = 2026-10-01, readings = { bone_angle_deg = { value = 46 } } } }
"""
WORDS = """\
id = "R93"
title = "View"
says = "Film it again."
kind = "pattern"
of = "film_doubts"
words = ["oblique", "not_said"]
stage = "now"

[[limits]]
since = 2020-01-01
severity = "note"
evidence = "textbook"
source = "A book, p. 1"

[[examples]]
verdict = "WITHIN"
facts = { film_doubts = [] }

[[examples]]
verdict = "OUTSIDE"
facts = { film_doubts = ["oblique"] }

[[examples]]
verdict = "CANNOT_TELL"
facts = { film_doubts = ["not_said"] }
"""


def test_both_are_good_before_they_are_spoilt(tmp_path):
    write(tmp_path, DIFFERENCE, "film/R92.toml")
    write(tmp_path, WORDS, "film/R93.toml")
    assert {rule.id for rule in load_rulebook(tmp_path).rules} == {"R92", "R93"}


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (
            '"previous"',
            '"yesterday"',
            (
                "film/R92.toml:6: a difference is taken to nothing known; write against = one of: "
                "previous, opposite"
            ),
        ),
        (
            'against = "previous"\n',
            "",
            (
                "film/R92.toml: a difference is taken to nothing known; write against = one of: "
                "previous, opposite"
            ),
        ),
        (
            '"bone_angle_deg"',
            '"nail_count"',
            (
                "film/R92.toml:5: a difference needs a measure that is known; name a reading or a "
                "number of the plan"
            ),
        ),
        (
            'stage = "now"',
            'of = "recheck"\nstage = "now"',
            "film/R92.toml:7: a difference has no 'of'; leave it out",
        ),
        (
            'against = "previous"',
            'against = "previous"\nrelative = true',
            "film/R92.toml:13: the unit 'deg' is wrong; write unit = \"percent\"",
        ),
        (
            'kind = "difference"',
            'kind = "threshold"',
            "film/R92.toml:6: only a difference has 'against'; leave it out",
        ),
        (
            "previous = { on = 2026-10-01, ",
            "previous = { ",
            ("film/R92.toml:17: 'on' is missing; add a date such as 2026-01-31, without quotes"),
        ),
    ],
)
def test_a_malformed_difference(tmp_path, old, new, fault):
    assert old in DIFFERENCE
    faults = faults_of(write(tmp_path, DIFFERENCE.replace(old, new, 1), "film/R92.toml"))
    assert fault in faults


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (
            'words = ["oblique", "not_said"]\n',
            "",
            (
                "film/R93.toml: 'words' belongs to film_doubts, surface, farrier_words; add a list "
                "of them"
            ),
        ),
        (
            '"film_doubts"',
            '"identity"',
            (
                "film/R93.toml:6: 'words' belongs to film_doubts, surface, farrier_words; leave it "
                "out"
            ),
        ),
        (
            "film_doubts = []",
            "film_doubts = 3",
            "film/R93.toml:17: 'film_doubts' is wrong; write a list of texts",
        ),
        (
            "film_doubts = []",
            "previous = 3",
            "film/R93.toml:17: 'previous' is wrong; write a table",
        ),
        (
            "film_doubts = []",
            "chip = 826",
            "film/R93.toml:17: 'chip' is wrong; write text in quotes",
        ),
        (
            "film_doubts = []",
            "heels_damaged = 1",
            "film/R93.toml:17: 'heels_damaged' is wrong; write true or false",
        ),
        (
            "film_doubts = []",
            "lameness = 2",
            "film/R93.toml:17: 'lameness' is wrong; write a table",
        ),
        (
            "film_doubts = []",
            "body_mass_kg = true",
            "film/R93.toml:17: 'body_mass_kg' is wrong; write a number",
        ),
        ('"oblique", "not_said"', "3", "film/R93.toml:6: 'words' is wrong; write a list of texts"),
    ],
)
def test_a_malformed_pattern(tmp_path, old, new, fault):
    assert old in WORDS
    faults = faults_of(write(tmp_path, WORDS.replace(old, new, 1), "film/R93.toml"))
    assert fault in faults
