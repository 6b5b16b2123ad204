"""The window: what it names, what it leaves out, what it says of each wedge."""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from referral.core.errors import CoreError, ImpossiblePlan
from referral.core.measure.readings import Measured, Profile
from referral.core.predict.many import variant_of
from referral.core.predict.plan import Plan, Shoe
from referral.core.predict.prediction import predict
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask
from referral.core.rules.rule import Limit, Rule, Rulebook
from referral.core.rules.window import NOTHING_TESTED, WindowFoot, solve_window
from tests.core.predict.feet import FORE, ON, film
from tests.core.predict.test_many import px_film
from tests.core.rules.rings import is_inside
from tests.core.rules.windows import (
    ANGLE,
    BEHIND,
    COARSE,
    HEEL,
    HEIGHT,
    NO_RULES,
    PLAN,
    SHIPPED,
    SOLE,
    every_point,
    foot,
    inside_points,
    solve,
)


def test_limits_that_contradict_each_other_are_named_and_nothing_else():
    deep = CaseLimit("heel_trim_mm", "after_fit", "must", at_least=7)
    window = solve(foot(), [SOLE, HEEL, BEHIND, deep])
    assert (window.feasible, window.conflict) == (False, ("case:1", "case:3"))
    assert (window.other_conflicts, window.nearest, window.plan_inside) == (False, None, False)
    for dropped in (HEEL, deep):
        assert solve(foot(), [each for each in (SOLE, HEEL, deep) if each != dropped]).feasible


def test_another_conflict_beside_the_one_named_is_said():
    never = CaseLimit("heel_trim_mm", "after_fit", "must", at_least=8)
    window = solve(foot(), [HEEL, never, CaseLimit("wedge_deg", "after_fit", "must", at_least=6)])
    assert (window.conflict, window.other_conflicts) == (("case:2",), True)


def test_a_foot_without_horn_for_any_plan_has_an_empty_window_without_a_conflict():
    ask = Ask((5.0, 8.0), (0.0, 1.0), 1.0, (0.0,))
    short = film(landmarks={"heel_wall_proximal": [-109.0, 4.0]})
    window = solve(foot(Plan(), short), [ANGLE], ask=ask)
    assert (window.feasible, window.conflict, window.other_conflicts) == (False, (), False)


def test_each_side_says_what_binds_there():
    short = film(landmarks={"heel_wall_proximal": [-112.5, 7.5]})
    toe = CaseLimit("toe_trim_mm", "after_fit", "must", at_most=3)
    (region,) = solve(foot(Plan(), short), [toe], ask=replace(COARSE, wedge_deg=(0.0,))).regions
    sides = {(each.axis, each.end): each for each in region.binding}
    assert len(sides) == len(region.binding) == 4
    least, most = sides["toe_trim_mm", "least"], sides["toe_trim_mm", "most"]
    assert (least.limits, least.range_end, least.horn) == ((), True, False)
    assert (most.limits, most.range_end, most.horn) == (("case:0",), False, False)
    heel = sides["heel_trim_mm", "most"]
    assert (heel.limits, heel.range_end, heel.horn) == ((), False, True)
    assert heel.at_mm == (7.5, 1.5)
    assert (region.heel_trim_mm, region.toe_trim_mm) == ((0.0, 7.5), (0.0, 3.0))


def test_plans_too_close_to_call_have_an_outline_of_their_own():
    limit = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=4)
    ask = replace(COARSE, wedge_deg=(2.0,))
    subject = foot()
    (region,) = solve(subject, [limit], ask=ask).regions
    u = predict(subject.film, subject.stated, PLAN, FORE).after_fit.readings[limit.measure].u
    angles = {
        (heel, toe): predict(subject.film, subject.stated, variant_of(PLAN, toe, heel, 2.0), FORE)
        .after_fit.readings[limit.measure]
        .value
        for _, heel, toe in every_point(ask)
    }
    close = {place for place in angles if is_inside(region.close_outline_mm, *place)}
    assert close == {place for place, angle in angles.items() if abs(angle - 4.0) <= 2 * u}
    assert 0 < len(close) < len(angles)


@pytest.mark.parametrize(
    ("limits", "unchecked", "feasible"),
    [
        ([ANGLE, CaseLimit("founder_distance_mm", "at_due", "must", at_most=9)], "case:1", None),
        ([ANGLE, CaseLimit("founder_distance_mm", "at_due", "should", at_most=9)], "case:1", True),
        ([CaseLimit("phalangeal_rotation_deg", "after_fit", "must", at_most=9)], "case:0", None),
        (
            [CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=1, unit="mm")],
            "case:0",
            None,
        ),
        ([CaseLimit("sole_to_shoe_mm", "after_fit", "must", at_least=1)], "case:0", None),
        ([CaseLimit("interval_weeks", "after_fit", "must", at_most=8)], "case:0", None),
    ],
)
def test_what_no_plan_can_tell_is_left_out_and_said(limits, unchecked, feasible):
    ask = replace(COARSE, include_should=True)
    plan = replace(PLAN, interval_weeks=None)
    window = solve(foot(plan), limits, ask=ask)
    assert [each.rule for each in window.unchecked] == [unchecked]
    assert window.feasible is feasible
    assert (window.why is None) == (feasible is not None)
    if window.why:
        assert unchecked in window.why
        assert window.unchecked[0].reason.sentence in window.why
        assert window.plan_inside is None


def test_what_is_tested_still_decides_when_something_cannot_be_checked():
    never = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=40)
    blind = CaseLimit("founder_distance_mm", "at_due", "must", at_most=9)
    window = solve(foot(), [never, blind])
    assert (window.feasible, window.plan_inside, window.conflict) == (None, False, ("case:0",))


def test_a_film_without_scale_leaves_lengths_unchecked_and_judges_wedges():
    shod = Plan(shoe=Shoe("open", thickness_mm=8.0))
    window = solve(foot(shod, px_film()), [SOLE, ANGLE])
    assert [each.rule for each in window.unchecked] == ["case:0"]
    # without millimetres only a trim that is the same at both ends leaves the angle known
    assert inside_points(window) == {(0.0, trim, trim) for trim in (0.0, 1.5, 3.0, 4.5, 6.0)}


def test_a_plan_of_which_nothing_can_be_told_is_not_inside():
    window = solve(foot(Plan(heel_trim_mm=2.0), px_film()), [ANGLE])
    assert (window.feasible, window.plan_inside, window.unchecked) == (True, False, ())
    assert window.nearest.plan.heel_trim_mm == window.nearest.plan.toe_trim_mm


def test_only_limits_a_plan_decides_are_tested():
    limits = [
        CaseLimit("palmar_angle_deg", stage, "must", at_least=40) for stage in ("now", "as_fitted")
    ]
    limits += [replace(SOLE, limb="RF"), BEHIND, ANGLE]
    window = solve(foot(), limits)
    assert window.tested == ("case:4",)
    with_should = solve(foot(), limits, ask=replace(COARSE, include_should=True))
    assert with_should.tested == ("case:3", "case:4")


def test_against_limits_leaves_the_rulebook_out():
    window = solve(foot(), [SOLE], SHIPPED, replace(COARSE, against="limits"))
    assert window.tested == ("case:0",)
    assert {"R05", "R10"} < set(solve(foot(), [SOLE], SHIPPED).tested)


def test_a_case_limit_takes_the_place_of_a_shipped_one_in_the_window_too():
    loose = CaseLimit("breakover_distance_mm", "after_fit", "must", at_most=60)
    window = solve(foot(), [loose], SHIPPED)
    assert "R10" not in window.tested


def test_nothing_tested_is_not_feasible():
    window = solve(foot(), [BEHIND])
    assert (window.feasible, window.why, window.plan_inside) == (None, NOTHING_TESTED, None)


def test_a_breach_that_is_no_limit_on_one_number_is_unchecked():
    limit = Limit(date(2020, 1, 1), "breach", "common practice", "a source")
    recheck = Rule("X09", "Recheck", "Name one.", "presence", "after_fit", (limit,), of="recheck")
    facts = Facts(recheck_owner="vet", recheck_on=date(2027, 1, 6))
    window = solve(foot(facts=facts), [ANGLE], Rulebook((recheck,), ""))
    assert [each.rule for each in window.unchecked] == ["X09"]
    assert (window.feasible, window.tested) == (None, ("case:0",))


def test_the_height_of_each_wedge_is_over_the_length_of_the_farriers_plan():
    """Wedge t = L tan(theta): 120 mm and 3 degrees make 6.29 mm, 110 mm and 5 make 9.62 mm."""
    ask = replace(COARSE, wedge_deg=(0.0, 3.0, 5.0))
    for length, heights in ((120.0, (0.0, 6.29, 10.50)), (110.0, (0.0, 5.76, 9.62))):
        said = replace(PLAN, wedge_length_mm=length)
        found = [region.wedge_mm for region in solve(foot(said), [ANGLE], ask=ask).regions]
        assert found == pytest.approx(heights, abs=0.005)
    trimmed = solve(foot(Plan(heel_trim_mm=5.0)), [ANGLE], ask=ask).regions[1]
    assert trimmed.wedge_mm == pytest.approx(151.58 * math.tan(math.radians(3.0)), abs=0.005)
    nothing = foot(Plan(), film("heel", "heel_wall_proximal", "heel_wall_distal"))
    assert [region.wedge_mm for region in solve(nothing, [ANGLE], ask=ask).regions] == [None] * 3


def test_a_limit_on_the_height_of_a_wedge_is_met_over_each_plans_own_length():
    window = solve(foot(), [HEIGHT], ask=replace(COARSE, wedge_deg=(0.0, 2.0, 4.0)))
    assert [region.count > 0 for region in window.regions] == [True, True, False]
    assert window.nearest.plan == PLAN


def test_a_wedge_said_in_millimetres_alone_is_near_its_own_angle():
    plan = replace(PLAN, wedge_deg=0.0, wedge_mm=151.58 * math.tan(math.radians(4.0)))
    window = solve(foot(plan), [CaseLimit("heel_trim_mm", "after_fit", "must", at_most=4.6)])
    assert (window.nearest.plan.wedge_deg, window.nearest.plan.heel_trim_mm) == (4.0, 4.5)
    assert window.nearest.distance == pytest.approx(0.25, abs=1e-3)


def test_a_nearest_plan_of_unknown_length_has_no_height_of_its_wedge():
    bare = foot(Plan(), film("heel", "heel_wall_proximal", "heel_wall_distal"))
    higher = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=6.5)
    near = solve(bare, [higher], ask=replace(COARSE, wedge_deg=(0.0, 4.0))).nearest.plan
    assert (near.wedge_deg, near.wedge_mm) == (4.0, None)


def test_a_foot_of_which_nothing_is_known_is_told_by_its_plan_alone():
    nothing = WindowFoot(None, Measured(), Plan(), Profile("LH", "pony", ON))
    window = solve(nothing, [HEEL, ANGLE])
    assert [each.rule for each in window.unchecked] == ["case:1"]
    assert window.regions[0].heel_trim_mm == (0.0, 6.0)


def test_the_usual_ranges_are_ten_millimetres_each_way_in_quarters():
    window = solve_window(foot(), NO_RULES, [HEEL], ON)
    (first, *_) = window.regions
    assert [region.wedge_deg for region in window.regions] == [0, 1, 2, 3, 4, 5]
    assert first.area_mm2 == 25 * 41 / 16
    assert np.array(first.outline_mm).tolist() == [
        [[-0.125, -0.125], [6.125, -0.125], [6.125, 10.125], [-0.125, 10.125]]
    ]


def test_a_plan_that_cannot_be_followed_is_refused_as_when_it_is_predicted():
    with pytest.raises(ImpossiblePlan) as refused:
        solve(foot(Plan(heel_trim_mm=40.0)), [ANGLE])
    assert refused.value.at == "plan.heel_trim_mm"
    with pytest.raises(CoreError):
        solve(foot(), [ANGLE], ask=Ask(step_mm=-1.0))
