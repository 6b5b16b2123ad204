"""One rulebook of many files: its hash, its order, a practice's own folder."""

from dataclasses import replace
from datetime import date

from referral.core.measure.readings import Measured, Profile, Reading
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import judge
from referral.core.rules.rule import Rulebook
from referral.rulebook.loader import SHIPPED, content_hash, load_rulebook
from tests.rulebook.texts import GOOD, write

DAY = date(2026, 11, 25)
SOLE = "sole_depth_tip_mm"


def test_the_hash_is_of_the_content_and_of_nothing_else(tmp_path):
    first = load_rulebook(write(tmp_path / "a", GOOD)).content_hash
    spaced = GOOD.replace("at_least = 15", "at_least = 15.0  # fifteen")
    same = load_rulebook(write(tmp_path / "b", spaced)).content_hash
    example = GOOD.replace("value = 20", "value = 21")
    also = load_rulebook(write(tmp_path / "c", example)).content_hash
    other = GOOD.replace("at_least = 15", "at_least = 16")
    changed = load_rulebook(write(tmp_path / "d", other)).content_hash
    assert first == same == also
    assert first != changed
    assert len(first) == 64


def test_the_hash_does_not_depend_on_the_order_of_the_rules():
    rules = load_rulebook().rules
    assert content_hash(rules) == content_hash(tuple(reversed(rules)))
    assert content_hash(rules) == load_rulebook(SHIPPED).content_hash
    assert content_hash((replace(rules[0], says="Otherwise."), *rules[1:])) != content_hash(rules)


def test_a_practice_adds_its_own_limits_and_replaces_shipped_ones(tmp_path):
    text = GOOD.replace('"R90"', '"P01"').replace("at_least = 10", "at_least = 12")
    book = load_rulebook(practice=write(tmp_path, text, "sole/P01.toml"))
    foot = Inputs(
        Profile("LF", "adult_horse", DAY),
        {"after_fit": Measured({SOLE: Reading(SOLE, 11.0, 0.0, "mm", "marker", "predicted")})},
    )
    only_sole = Rulebook(
        tuple(rule for rule in book.rules if rule.measure == SOLE), book.content_hash
    )
    answers = {
        each.rule: (each.limit_from, each.verdict, each.severity, each.reason)
        for each in judge(foot, only_sole, (), DAY).findings
    }
    assert answers == {
        "P01": ("practice", "OUTSIDE", "breach", "beyond"),
        "R04": ("shipped", "NOT_APPLICABLE", "note", "replaced_by_practice_limit"),
    }
    assert book.content_hash != load_rulebook().content_hash
