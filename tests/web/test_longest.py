"""How long a plan may be left, what it rests on and what joints may do, on its page."""

import re

import pytest

from tests.web.yard import PLAN, a_yard, words_of

HOLDS = re.compile(r"Every must at the due date holds for (\d+) weeks")
LATE = {"measure": "palmar_angle_deg", "stage": "at_due"}


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def preview(yard, **changed):
    answer = yard.browser("farrier").post(f"{yard.home}/plan-previews", {**PLAN, **changed})
    assert answer.status_code == 200, words_of(answer)
    return answer


def is_within(yard, weeks):
    """Say whether the limit at the due date is kept with certainty after so many weeks."""
    said = words_of(preview(yard, **{"LF-interval_weeks": str(weeks)}))
    told = said.partition("limit on palmar angle, at due")[0]
    return told.rstrip().endswith("Within The vet&#39;s") or told.endswith("Within The vet's ")


def test_the_longest_interval_is_the_last_that_keeps_the_limits_at_the_due_date(yard):
    # the palmar angle of a shod forefoot drifts by -0.41 degrees a week
    yard.limit(**LATE, at_least="2.5")
    yard.submit()
    weeks = int(HOLDS.search(words_of(yard.open("farrier", "/plans/1")))[1])
    assert 1 <= weeks < 8
    assert is_within(yard, weeks)
    assert not is_within(yard, weeks + 1)
    assert HOLDS.search(words_of(preview(yard)))[1] == str(weeks)


def test_nothing_is_said_of_it_where_nothing_is_asked_of_the_due_date(yard):
    assert "must at the due date" not in words_of(preview(yard))


def test_it_is_said_where_it_cannot_be_told_or_no_week_will_do(yard):
    yard.limit(**LATE, at_least="20")
    assert "No interval keeps every must at the due date" in words_of(preview(yard))
    yard.limit(measure="sole_depth_tip_mm", stage="at_due", at_least="8")
    assert "How long it may be left cannot be told" in words_of(preview(yard))


def test_what_joints_may_do_has_its_source_and_its_cost_beside_the_benefit(yard):
    said = words_of(preview(yard))
    told = said.partition("What this rests on, and what joints may do")[2]
    for words in ("ease the pull of the deep flexor tendon", "load the heel horn", "rigid piece"):
        assert words in told
    assert "The coffin joint flexes" in told
    assert "five horses standing" in told
    assert "a week (published): Kolstrung" in told
