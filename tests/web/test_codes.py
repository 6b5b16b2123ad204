"""Codes of the core stand on no page and on no sheet: each is said in words."""

import re

import pytest

from referral.core.measure.needs import lacking
from referral.core.measure.views import VIEWS
from referral.web.codes import in_words, rule_name


@pytest.mark.parametrize(
    ("said", "read"),
    [
        (
            "missing (needs sole_under_tip).",
            "missing (needs the sole's ground surface straight below the bone's tip).",
        ),
        ("needs heel or heel_wall_proximal", "needs heel or the heel wall, high"),
        ("needs palmar_angle_deg, stated", "needs palmar angle, stated"),
        ("needs plan.interval_weeks", "needs the plan’s interval"),
        ("needs sid_mm", "needs sid"),
        ("so since 2026-12-01, because", "so since 1 Dec 2026, because"),
        ("chip 2026-13-45", "chip 2026-13-45"),
        ("Leave more. The limit is from memory.", "Leave more. The limit is from memory."),
    ],
)
def test_codes_are_said_in_words(said, read):
    assert in_words(said) == read


def test_no_code_is_left_of_any_reading_of_any_view():
    said = [
        in_words(reason)
        for view in VIEWS.values()
        for needs in view.needs.values()
        if (reason := lacking(needs, ()))
    ]
    assert len(said) > 50
    assert [each for each in said if re.search(r"[a-z0-9]_[a-z0-9]", each)] == []


def test_a_limit_of_the_case_has_no_number_and_a_rule_has():
    assert rule_name("case:0") == "limit of the vet’s"
    assert rule_name("R05") == "R05"
