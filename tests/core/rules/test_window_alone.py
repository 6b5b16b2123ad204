"""The window against predicting and judging every plan by itself."""

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from referral.core.errors import ImpossiblePlan
from referral.core.predict.growth import OwnRates, Rate
from referral.core.predict.many import variant_of
from referral.core.predict.plan import PAGE_EXECUTION_U, Plan
from referral.core.predict.prediction import predict
from referral.core.rules.finding import CaseLimit
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import judge
from referral.core.rules.tested import STAGES_TESTED
from tests.core.predict.feet import FORE, ON, film, stated
from tests.core.rules.rings import shoelace
from tests.core.rules.windows import (
    ANGLE,
    ARM,
    BEHIND,
    HEEL,
    HEIGHT,
    LATE,
    NO_RULES,
    PLAN,
    ROUGH,
    SHIPPED,
    SOLE,
    TURN,
    every_point,
    foot,
    inside_points,
    solve,
)


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
