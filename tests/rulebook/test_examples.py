"""Every rule does what the examples in its own file say."""

import pytest

from referral.rulebook.examples import run_example
from referral.rulebook.loader import SHIPPED, load_rulebook, read_rule_files

FILES = read_rule_files(SHIPPED, "shipped")
CASES = [
    pytest.param(each.rule, example, id=f"{each.rule.id}-{index}-{example.verdict}")
    for each in FILES
    for index, example in enumerate(each.examples)
]


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_the_example_gives_its_verdict(rule, example):
    finding = run_example(rule, example)
    assert finding is not None
    assert finding.verdict == example.verdict
    assert example.severity in (None, finding.severity)
    assert example.reason in (None, finding.reason)


def test_the_first_rules_are_shipped():
    wanted = {"R01", "R04", "R05", "R06", "R07", "R08", "R10", "R20", "R22", "R24", "R26", "R27"}
    assert wanted <= {rule.id for rule in load_rulebook().rules}


def test_an_example_of_a_rule_that_is_not_run_has_no_finding():
    by_id = {each.rule.id: each for each in FILES}
    assert run_example(by_id["R24"].rule, by_id["R04"].examples[0]) is None


@pytest.mark.parametrize(
    ("rule", "bounds"),
    [
        ("R04", [("at_least", 15, "caution"), ("at_least", 10, "breach")]),
        (
            "R05",
            [("at_least", 2, "caution"), ("more_than", 0, "breach"), ("at_most", 10, "breach")],
        ),
        ("R08", [("at_least", 50, "caution"), ("at_least", 45, "breach")]),
        ("R10", [("at_most", 20, "caution"), ("at_most", 30, "breach")]),
        ("R20", [("at_most", 0.3, "caution")]),
    ],
)
def test_the_figures_of_the_reference_ship(rule, bounds):
    (found,) = [each for each in load_rulebook().rules if each.id == rule]
    shipped = [
        (key, getattr(limit, key), limit.severity)
        for limit in found.limits
        for key in ("at_least", "more_than", "at_most", "less_than")
        if getattr(limit, key) is not None
    ]
    assert shipped == bounds


def test_no_limit_has_an_empty_source():
    assert all(limit.source.strip() for rule in load_rulebook().rules for limit in rule.limits)
