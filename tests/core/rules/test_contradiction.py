"""Limits that contradict each other are found before there is a plan, whatever the shoe."""

import itertools
from dataclasses import replace

import pytest

from referral.core.measure.readings import Measured
from referral.core.predict.plan import PAGE_EXECUTION_U, Plan, Shoe
from referral.core.rules.contradiction import Contradiction, contradiction_of
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask
from tests.core.predict.feet import FORE, ON, film
from tests.core.rules.windows import ARM, LATE, SOLE, foot, solve

NOTHING_PLANNED = Plan(fit_on=ON)
NONE = Contradiction((), others=False, unchecked=())
HIGH = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=8)
FLAT_WALL = CaseLimit("dorsal_wall_angle_deg", "after_fit", "must", at_most=48)
LOW = CaseLimit("palmar_angle_deg", "at_due", "should", at_most=2)


def found(*limits, **more):
    return contradiction_of(foot(NOTHING_PLANNED, **more), limits, ON)


# Both turn with the hoof, so their difference stays: 47 - 5 = 42 on this foot (plane geometry).
# Palmar angle 8 wants the wall at 50 and may not be had under 48.
def test_two_limits_that_turn_together_contradict_each_other():
    assert found(SOLE, HIGH, FLAT_WALL) == Contradiction((1, 2), others=False, unchecked=())
    eased = replace(FLAT_WALL, at_most=58)
    assert found(SOLE, HIGH, eased) == NONE


def test_what_a_shoe_can_do_is_no_contradiction():
    # the film's breakover lies 41.5 mm before the tip; only a shoe set back brings it to 15
    near = CaseLimit("breakover_distance_mm", "after_fit", "must", at_most=15)
    assert found(HIGH, near) == NONE
    barefoot = solve(foot(Plan(execution_u=PAGE_EXECUTION_U)), [HIGH, near])
    assert barefoot.feasible is False


def test_one_limit_that_no_plan_meets_stands_alone():
    nowhere = CaseLimit("breakover_distance_mm", "after_fit", "must", at_most=-30)
    assert found(HIGH, nowhere).limits == (1,)


def test_a_should_counts_and_another_conflict_is_said():
    both = found(HIGH, FLAT_WALL, LOW)
    assert len(both.limits) == 2
    assert both.others is (set(both.limits) == {0, 1})
    two = found(
        HIGH, FLAT_WALL, CaseLimit("breakover_distance_mm", "after_fit", "must", at_most=-30)
    )
    assert two == Contradiction((2,), others=True, unchecked=())


def test_the_interval_that_the_vet_asks_for_is_tried():
    seven = CaseLimit("interval_weeks", "after_fit", "must", at_least=7, at_most=7)
    assert found(HIGH, seven, LATE) == NONE
    never = CaseLimit("interval_weeks", "after_fit", "must", at_least=9)
    assert found(never, seven).limits == (0, 1)


def test_a_longer_interval_is_not_held_against_a_limit_at_the_due_date():
    # 2.1 mm of growth a week bring breakover forward by 1.43 mm a week under a wall of 47 degrees
    tight = CaseLimit("breakover_distance_mm", "at_due", "must", at_most=13)
    assert found(tight, HIGH) == NONE


def test_what_the_farrier_simply_chooses_is_left_out():
    dressed = CaseLimit("toe_dress_mm", "after_fit", "must", at_least=2)
    assert found(dressed, HIGH, FLAT_WALL).limits == (1, 2)


def test_what_cannot_be_held_against_any_plan_is_named_and_contradicts_nothing():
    varies = CaseLimit("phalangeal_rotation_deg", "after_fit", "must", at_most=5)
    assert found(varies, HIGH) == Contradiction((), others=False, unchecked=(0,))
    assert found(varies, HIGH, FLAT_WALL) == Contradiction((1, 2), others=False, unchecked=(0,))
    blank = contradiction_of(
        replace(foot(NOTHING_PLANNED), film=None, stated=Measured()), [HIGH], ON
    )
    assert blank == Contradiction((), others=False, unchecked=(0,))


def test_what_stands_before_or_after_the_plan_is_not_for_it():
    now = CaseLimit("palmar_angle_deg", "now", "must", at_least=80)
    fitted = CaseLimit("palmar_angle_deg", "as_fitted", "must", at_most=2)
    assert found(now, HIGH, fitted) == NONE


def test_no_limits_contradict_nothing():
    assert found() == NONE


SET_UPS = [
    Plan(shoe=shoe, interval_weeks=6.0, execution_u=PAGE_EXECUTION_U, fit_on=ON)
    for shoe in (None, *(Shoe("open", thickness_mm=10, breakover_setback_mm=b) for b in (0, 30)))
]


# The definition itself, by other ways of trying: no window is open with all of the set, and
# without any one of it some window is.
@pytest.mark.parametrize("limits", [(SOLE, HIGH, FLAT_WALL), (ARM, HIGH, FLAT_WALL, LATE)])
def test_the_set_is_contradictory_and_none_of_it_can_be_spared(limits):
    named = [limits[place] for place in found(*limits).limits]
    assert named
    ask = Ask(step_mm=1.0, against="limits", include_should=True)

    def can_be_met(some):
        return any(solve(foot(plan, film()), some, ask=ask).feasible for plan in SET_UPS)

    assert not can_be_met(named)
    for without in itertools.combinations(named, len(named) - 1):
        assert can_be_met(list(without))
    assert FORE.limb == "LF"
