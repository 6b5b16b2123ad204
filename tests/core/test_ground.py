"""Which changes a plan under way rests on: its own feet, their pair, and all that is no reading."""

import pytest

from referral.core.workflow import Happening, Stage, state_of
from tests.core.test_workflow import AGREED, moved

FORE_AGREED = (*AGREED[:3], Happening("plan_submitted", "farrier", {"n": 1, "limbs": ["LF"]}))


@pytest.mark.parametrize(
    ("part", "stage"),
    [
        ("readings.LF", Stage.REVIEW),
        ("readings.RF", Stage.REVIEW),
        ("readings.LH", Stage.CONSENT),
        ("readings.RH", Stage.CONSENT),
        ("limits", Stage.REVIEW),
        ("problems", Stage.REVIEW),
    ],
)
def test_readings_of_a_foot_outside_the_pair_leave_a_plan_where_it_is(part, stage):
    """Left and right are compared, fore and hind are not: our own rule, as an agreement says."""
    agreed = [*FORE_AGREED, *AGREED[4:]]
    assert state_of([*agreed, moved(part, "a", "b")]).stage is stage


def test_a_plan_whose_feet_were_not_kept_rests_on_every_foot():
    for facts in ({"n": 1}, {"n": 1, "limbs": 4}):
        old = [*AGREED[:3], Happening("plan_submitted", "farrier", facts), *AGREED[4:]]
        assert state_of([*old, moved("readings.LH", "a", "b")]).stage is Stage.REVIEW


def test_a_change_of_which_nothing_was_kept_sends_a_plan_back_whatever_its_feet():
    old = Happening("limit_set", "vet", {"changes_basis": True})
    assert state_of([*FORE_AGREED, *AGREED[4:], old]).stage is Stage.REVIEW
