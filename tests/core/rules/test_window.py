"""The window against predicting and judging every plan by itself."""

import itertools
import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from referral.core.errors import CoreError, ImpossiblePlan
from referral.core.measure.readings import Measured, Profile
from referral.core.predict.growth import OwnRates, Rate
from referral.core.predict.many import variant_of
from referral.core.predict.plan import PAGE_EXECUTION_U, Plan, Shoe
from referral.core.predict.prediction import predict
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask, grid_of
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import judge
from referral.core.rules.rule import Limit, Rule, Rulebook
from referral.core.rules.tested import STAGES_TESTED
from referral.core.rules.window import NOTHING_TESTED, WindowFoot, solve_window
from referral.rulebook.loader import load_rulebook
from tests.core.predict.feet import FORE, FULL_SHOE, ON, film, stated
from tests.core.rules.rings import is_inside, shoelace

SHIPPED = load_rulebook()
NO_RULES = Rulebook((), "")
COARSE = Ask((0.0, 9.0), (0.0, 6.0), 1.5, (0.0, 2.0, 4.0))
ROUGH = Ask((0.0, 8.0), (0.0, 6.0), 2.0, (0.0, 2.0, 4.0))
PLAN = Plan(heel_trim_mm=5.0, wedge_deg=2.0, shoe=FULL_SHOE, interval_weeks=6.0)
SOLE = CaseLimit("sole_depth_tip_mm", "after_fit", "must", at_least=9)
ANGLE = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=3, at_most=7)
LATE = CaseLimit("palmar_angle_deg", "at_due", "must", at_least=2)
ARM = CaseLimit("breakover_distance_mm", "at_due", "must", at_most=38)
TURN = CaseLimit("palmar_angle_deg", "change", "must", at_most=4)
HEEL = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=6)
HEIGHT = CaseLimit("wedge_mm", "after_fit", "must", at_most=8)
BEHIND = CaseLimit("behind_centre_percent", "after_fit", "should", at_least=46)


def foot(plan=PLAN, film_=None, **more):
    return WindowFoot(film_ or film(), more.pop("said", Measured()), plan, FORE, **more)


def solve(subject, limits=(), rulebook=NO_RULES, ask=COARSE):
    return solve_window(subject, rulebook, limits, ON, ask)


def filled(plan, length_mm):
    """Return the plan with the wedge's height beside its angle, over the length it has."""
    length = plan.wedge_length_mm or length_mm
    if plan.wedge_mm is not None or length is None:
        return plan
    return replace(plan, wedge_mm=length * math.tan(math.radians(plan.wedge_deg)))


def held_u(measured, at_plan):
    """Return readings with the u that each has at the farrier's plan."""
    readings = {
        code: replace(reading, u=at_plan.readings[code].u)
        for code, reading in measured.readings.items()
        if code in at_plan.readings
    }
    return replace(measured, readings=readings)


def predicted(subject, plan):
    return predict(subject.film, subject.stated, plan, FORE, subject.own)


def failed_alone(case, plan, at_plan, *, include_should=False):
    """Return the tested rules that one plan, predicted and judged by itself, does not meet.

    ``None`` if this foot could not follow it.
    """
    subject, rulebook, limits = case
    try:
        found = predicted(subject, plan)
    except ImpossiblePlan:
        return None
    stages = {
        stage: held_u(getattr(found, stage), getattr(at_plan, stage)) for stage in STAGES_TESTED
    }
    stages["now"] = found.now
    inputs = Inputs(FORE, stages, filled(plan, found.bearing_length_mm), film=subject.film)
    least = ("breach", "red_flag", *(["caution"] if include_should else []))
    return {
        finding.rule
        for finding in judge(inputs, rulebook, limits, ON).findings
        if finding.stage in STAGES_TESTED
        and finding.verdict not in ("WITHIN", "NOT_APPLICABLE")
        and finding.severity in (least if finding.limit_from == "case" else least[:2])
    }


def inside_points(window, ask=COARSE):
    """Return the (wedge, heel, toe) of the grid that the outlines hold."""
    grid = grid_of(ask)
    return {
        (region.wedge_deg, heel, toe)
        for region in window.regions
        for heel in grid.heel_trim_mm.tolist()
        for toe in grid.toe_trim_mm.tolist()
        if is_inside(region.outline_mm, heel, toe)
    }


def every_point(ask=COARSE):
    grid = grid_of(ask)
    axes = (grid.wedge_deg, grid.heel_trim_mm, grid.toe_trim_mm)
    return itertools.product(*(axis.tolist() for axis in axes))


SCENES = {
    "limits alone": (foot(), NO_RULES, [SOLE, ANGLE, LATE, ARM], {}),
    "shipped rules": (foot(), SHIPPED, [], {}),
    "both": (foot(), SHIPPED, [SOLE, TURN, HEEL, HEIGHT], {}),
    "a should as well": (foot(), NO_RULES, [SOLE, BEHIND], {"include_should": True}),
    "done with tolerance": (
        foot(replace(PLAN, execution_u=PAGE_EXECUTION_U)),
        NO_RULES,
        [ANGLE, HEEL],
        {},
    ),
    "no uncertainty": (
        foot(
            film_=film(landmark_sd_mm=0.0),
            own=OwnRates(
                Rate(2.0, 0.0, "own resets", "two resets"),
                Rate(-0.3, 0.0, "own resets", "two resets"),
            ),
        ),
        SHIPPED,
        [SOLE, ANGLE, LATE],
        {},
    ),
    "heels apart": (
        foot(Plan(heel_trim_medial_mm=2.0, heel_trim_lateral_mm=5.0)),
        NO_RULES,
        [HEEL, SOLE],
        {},
    ),
    "hardly any horn": (
        foot(film_=film(landmarks={"heel_wall_proximal": [-109.0, 4.0]}), plan=Plan()),
        NO_RULES,
        [ANGLE],
        {},
    ),
    "stated": (
        foot(
            Plan(wedge_deg=1.0),
            said=stated(palmar_angle_deg=4.0, sole_depth_tip_mm=12.0, dorsal_wall_angle_deg=50.0),
        ),
        NO_RULES,
        [ANGLE],
        {},
    ),
}
SCENES["stated"] = (replace(SCENES["stated"][0], film=None), *SCENES["stated"][1:])


@pytest.mark.parametrize("name", SCENES)
def test_the_window_is_what_every_plan_alone_gives(name):
    subject, rulebook, limits, more = SCENES[name]
    ask = replace(ROUGH, **more)
    window = solve(subject, limits, rulebook, ask)
    case, at_plan = (subject, rulebook, limits), predicted(subject, subject.plan)
    failed, compliant = [], set()
    for wedge, heel, toe in every_point(ask):
        plan = variant_of(subject.plan, toe, heel, wedge)
        broken = failed_alone(case, plan, at_plan, **more)
        if broken is None:
            continue
        failed.append(broken)
        compliant |= set() if broken else {(wedge, heel, toe)}
    assert inside_points(window, ask) == compliant
    assert window.feasible == bool(compliant)
    for region in window.regions:
        count = len([place for place in compliant if place[0] == region.wedge_deg])
        assert (region.count, region.area_mm2) == (count, count * 4.0)
        assert sum(map(shoelace, region.outline_mm)) == pytest.approx(region.area_mm2)
    own = failed_alone(case, subject.plan, at_plan, **more)
    assert window.plan_inside == (not own)
    assert window.conflict == least_contradiction(window.tested, failed)


def least_contradiction(tested, failed):
    """Return the first of the smallest sets of limits that every plan fails one of."""
    for size in range(len(tested) + 1):
        for chosen in itertools.combinations(tested, size):
            if all(broken & set(chosen) for broken in failed):
                return chosen
    return ()


def test_scenes_have_windows_that_are_empty_full_and_between():
    areas = {
        name: [region.count for region in solve(subject, limits, rulebook).regions]
        for name, (subject, rulebook, limits, _) in SCENES.items()
    }
    assert any(sum(counts) == 0 for counts in areas.values())
    assert all(max(counts) < 35 for counts in areas.values())
    assert sum(sum(counts) > 0 for counts in areas.values()) >= 5


BOUNDS = {
    "palmar_angle_deg": (0.0, 10.0),
    "sole_depth_tip_mm": (6.0, 14.0),
    "breakover_distance_mm": (10.0, 50.0),
    "behind_centre_percent": (35.0, 60.0),
    "heel_trim_mm": (0.0, 9.0),
}
LIMITS = st.sampled_from(sorted(BOUNDS)).flatmap(
    lambda code: st.builds(
        CaseLimit,
        st.just(code),
        st.sampled_from(["after_fit", "at_due"]),
        st.just("must"),
        at_least=st.none() | st.floats(*BOUNDS[code]),
        at_most=st.floats(*BOUNDS[code]),
    )
)
SURE = foot(film_=film(landmark_sd_mm=0.1))


@settings(max_examples=40)
@given(limits=st.lists(LIMITS, min_size=1, max_size=4), by=st.floats(0.0, 5.0), data=st.data())
def test_a_tighter_limit_never_enlarges_the_window(limits, by, data):
    place = data.draw(st.integers(0, len(limits) - 1))
    tighter = replace(limits[place], at_most=limits[place].at_most - by)
    narrow = solve(SURE, [*limits[:place], tighter, *limits[place + 1 :]])
    assert inside_points(narrow) <= inside_points(solve(SURE, limits))


@settings(max_examples=40)
@given(
    limits=st.lists(LIMITS, min_size=1, max_size=3),
    heel=st.floats(0.0, 9.0),
    toe=st.floats(0.0, 6.0),
    wedge=st.sampled_from([0.0, 1.0, 2.0, 4.0]),
)
def test_the_nearest_plan_complies_and_no_plan_of_the_grid_that_does_is_nearer(
    limits, heel, toe, wedge
):
    subject = replace(SURE, plan=variant_of(PLAN, toe, heel, wedge))
    window = solve(subject, limits)
    compliant = inside_points(window)
    assert (window.nearest is None) == (not compliant and not window.plan_inside)
    if window.nearest is None:
        return
    if window.feasible:
        at_plan = predicted(subject, subject.plan)
        assert failed_alone((subject, NO_RULES, limits), window.nearest.plan, at_plan) == set()
    steps = [
        abs(h - heel) / 2.0 + abs(t - toe) / 2.0 + abs(w - wedge) / 0.5 for w, h, t in compliant
    ]
    assert window.nearest.distance <= min(steps, default=math.inf) + 1e-9
    near = window.nearest.plan
    own = abs(near.heel_trim_mm - heel) / 2 + abs(near.toe_trim_mm - toe) / 2
    own += abs(near.wedge_deg - wedge) / 0.5
    assert window.nearest.distance == pytest.approx(own)


def test_limits_that_contradict_each_other_are_named_and_nothing_else():
    high = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=6)
    low = CaseLimit("palmar_angle_deg", "at_due", "must", at_most=2)
    window = solve(foot(), [SOLE, high, HEEL, low])
    assert (window.feasible, window.conflict) == (False, ("case:1", "case:3"))
    assert (window.other_conflicts, window.nearest, window.plan_inside) == (False, None, False)


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
    from tests.core.predict.test_many import px_film

    shod = Plan(shoe=Shoe("open", thickness_mm=8.0))
    window = solve(foot(shod, px_film()), [SOLE, ANGLE])
    assert [each.rule for each in window.unchecked] == ["case:0"]
    # without millimetres only a trim that is the same at both ends leaves the angle known
    assert inside_points(window) == {(0.0, trim, trim) for trim in (0.0, 1.5, 3.0, 4.5, 6.0)}


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
