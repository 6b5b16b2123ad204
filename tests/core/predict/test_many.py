"""Many variants of a plan at once: each is what predicting it alone gives."""

import itertools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import ImpossiblePlan
from referral.core.geometry.scale import no_scale
from referral.core.measure.film import Film
from referral.core.measure.lateromedial import NEEDS
from referral.core.measure.readings import LENGTH_STATES_JUDGED, Measured, Profile, Reading
from referral.core.predict.many import Variants, predict_many, variant_of
from referral.core.predict.move import mean_heel_trim_mm
from referral.core.predict.plan import ExecutionU, Plan, Shoe
from referral.core.predict.possible import check_foot, check_plan, trims_possible
from referral.core.predict.prediction import PREDICTED, outlook_of, predict
from tests.core.predict.feet import (
    FORE,
    FULL_SHOE,
    LANDMARKS,
    ON,
    PLANS,
    STATED,
    film,
    points,
    shod_film,
    stated,
)

NOTHING = Measured()
ASKED = [(stage, code) for stage in PREDICTED for code in NEEDS]
TOES, HEELS, WEDGES = (0.0, 1.5, 6.0), (0.0, 1.5, 4.0, 30.0), (0.0, 2.0, -1.0)
SHORT_ARC = [[-57.0, 42.6], [-52.0, 42.0], [-47.0, 42.6]]


def px_film(**changes):
    """Return the foot drawn in pixels of 0.5 mm, without a scale."""
    drawn = {
        name: np.add(np.multiply(xy, [2.0, -2.0]), [600.0, 500.0]).tolist()
        for name, xy in LANDMARKS.items()
    }
    drawn |= {"ground_palmar": [300.0, 500.0], "ground_dorsal": [700.0, 500.0]}
    return Film("lateromedial", drawn, None, no_scale(), (1000, 1000), **changes)


def unsaid(code, value):
    return Reading(code, value, 0.72, "mm", "unsaid", "stated")


def in_place_of_film(code, value, unit, state="marker"):
    said = Reading(code, value, 0.5, unit, state, "stated", instead_of_film=True)
    return Measured({code: said})


SOME = {code: STATED[code] for code in ("palmar_angle_deg", "dorsal_wall_angle_deg")}
FULL = replace(PLANS["all"], interval_weeks=6.0, execution_u=ExecutionU(1.15, 0.29, 1.73, 1.15))
DUE = Plan(interval_weeks=6.0)
CASES = {
    "film": (film(), NOTHING, FULL),
    "bare": (film(), NOTHING, DUE),
    "filmed shod": (shod_film(), NOTHING, FULL),
    "no scale": (px_film(), NOTHING, FULL),
    "heels apart": (
        film(),
        NOTHING,
        Plan(heel_trim_medial_mm=3.0, heel_trim_lateral_mm=4.0, sole_pare_mm=1.0),
    ),
    "one heel said": (film(), NOTHING, Plan(heel_trim_mm=2.0, heel_trim_medial_mm=3.0)),
    "height of the wedge": (film(), NOTHING, Plan(wedge_mm=6.0, heel_trim_mm=2.0)),
    "no heel": (film("heel", "heel_wall_proximal", "heel_wall_distal"), NOTHING, DUE),
    "no wall": (film("wall_proximal", "wall_distal"), NOTHING, DUE),
    "after the trim": (film(trim="after"), NOTHING, DUE),
    "old": (film(taken_on=date(2026, 10, 1)), NOTHING, DUE),
    "old and grown": (
        film(taken_on=date(2026, 10, 1)),
        NOTHING,
        replace(FULL, growth_since_film=True),
    ),
    "said in the film's place": (film(), in_place_of_film("palmar_angle_deg", 3.0, "deg"), FULL),
    "said in its place, unsure": (
        film(),
        in_place_of_film("breakover_distance_mm", 39.0, "mm", "unsaid"),
        FULL,
    ),
    "stated": (None, stated(**STATED), FULL),
    "angles stated": (None, stated(**SOME), DUE),
    "one wedge stated": (None, stated(palmar_angle_deg=4.0), Plan()),
    "lengths of unsaid scale": (
        None,
        Measured(
            dict(stated(**STATED).readings)
            | {code: unsaid(code, STATED[code]) for code in ("bearing_length_mm", "dip_height_mm")}
        ),
        DUE,
    ),
    "another view": (
        Film("dorsopalmar", None, {"p3_margin_lateral": [0.0, 20.0]}, no_scale(), None),
        NOTHING,
        DUE,
    ),
}


def many(start, variants, asked=ASKED, profile=FORE):
    film_, said, plan = start
    return predict_many(outlook_of(film_, said, plan, profile), profile, variants, asked)


def grid():
    wedge, heel, toe = np.meshgrid(WEDGES, HEELS, TOES, indexing="ij")
    return Variants(toe, heel, wedge)


def alone(start, variants, place):
    """Return what predicting one variant gives, or ``None`` if no foot could follow it."""
    film_, said, plan = start
    numbers = (variants.toe_trim_mm, variants.heel_trim_mm, variants.wedge_deg)
    varied = variant_of(plan, *(float(each[place]) for each in numbers))
    try:
        return predict(film_, said, varied, FORE)
    except ImpossiblePlan:
        return None


def judgeable(reading):
    return reading is not None and (
        reading.unit != "mm" or reading.scale_state in LENGTH_STATES_JUDGED
    )


@pytest.mark.parametrize("name", CASES)
def test_many_at_once_are_what_each_is_alone(name):
    variants = grid()
    found = many(CASES[name], variants)
    seen = 0
    for place in itertools.product(*map(range, variants.wedge_deg.shape)):
        one = alone(CASES[name], variants, place)
        assert bool(found.possible[place]) == (one is not None)
        if one is None:
            continue
        length = float(found.bearing_length_mm[place])
        assert length == pytest.approx(one.bearing_length_mm or np.nan, nan_ok=True)
        for stage, code in ASKED:
            reading = getattr(one, stage).readings.get(code)
            row = found.readings.get((stage, code))
            known = row is not None and bool(row.known[place])
            assert known == judgeable(reading), (stage, code, place)
            if known:
                seen += 1
                assert float(row.values[place]) == pytest.approx(reading.value, abs=1e-9)
    assert (seen > 0) == (name != "another view")


SHORT = (film(landmarks={"p2_condyle": SHORT_ARC}), NOTHING, Plan())


@pytest.mark.parametrize(
    "start", [CASES["film"], CASES["stated"], CASES["said in the film's place"], SHORT]
)
def test_the_uncertainty_is_that_of_the_plan_itself(start):
    film_, said, plan = start
    found, at_plan = many(start, grid()), predict(film_, said, plan, FORE)
    compared = 0
    for (stage, code), row in found.readings.items():
        reading = getattr(at_plan, stage).readings.get(code)
        if reading is not None:
            compared += 1
            assert row.u == reading.u
    assert compared


def test_only_what_is_asked_for_is_worked_out():
    asked = [("after_fit", "palmar_angle_deg"), ("at_due", "sole_depth_tip_mm")]
    assert list(many(CASES["film"], grid(), asked).readings) == asked[:1]
    depth = [("after_fit", "sole_depth_tip_mm")]
    assert list(many(CASES["film"], grid(), depth).readings) == depth


def test_a_hind_foot_has_no_palmar_angle_at_the_due_date():
    hind = Profile("LH", "adult_horse", ON)
    asked = [(stage, "palmar_angle_deg") for stage in ("after_fit", "at_due")]
    assert list(many(CASES["film"], grid(), asked, hind).readings) == asked[:1]


TRIM = st.floats(0.0, 40.0)


@given(
    toe=TRIM,
    heel=TRIM,
    apart=st.floats(0.0, 5.0) | st.none(),
    dress=st.floats(0.0, 8.0),
    missing=st.sampled_from(
        [(), ("heel_wall_proximal", "heel_wall_distal"), ("wall_proximal",), ("heel", "toe")]
    ),
)
def test_the_same_trims_are_possible_as_for_one_plan(toe, heel, apart, dress, missing):
    plan = Plan(toe_dress_mm=dress, shoe=Shoe("open"))
    if apart is not None:
        plan = replace(plan, heel_trim_medial_mm=1.0, heel_trim_lateral_mm=1.0 + apart)
    varied = variant_of(plan, toe, heel, 0.0)
    try:
        check_plan(varied)
        check_foot(points(*missing), varied)
        alone_possible = True
    except ImpossiblePlan as error:
        if error.at == "plan.toe_dress_mm":
            return
        alone_possible = False
    found = trims_possible(points(*missing), plan, np.array([toe]), np.array([heel]))
    assert found.tolist() == [alone_possible]


@pytest.mark.parametrize(
    "plan",
    [
        Plan(heel_trim_mm=2.0),
        Plan(heel_trim_medial_mm=3.0, heel_trim_lateral_mm=4.0),
        Plan(heel_trim_mm=2.0, heel_trim_lateral_mm=5.0),
        Plan(heel_trim_mm=2.0, heel_trim_medial_mm=5.0, wedge_deg=2.0, wedge_mm=4.0),
    ],
)
def test_a_variant_keeps_the_heels_as_far_apart_and_holds_the_rest(plan):
    plan = replace(plan, shoe=FULL_SHOE, sole_pare_mm=1.0)
    varied = variant_of(plan, 3.0, 6.0, 4.0)
    assert mean_heel_trim_mm(varied) == pytest.approx(6.0)
    assert (varied.toe_trim_mm, varied.wedge_deg, varied.wedge_mm) == (3.0, 4.0, None)
    assert (varied.shoe, varied.sole_pare_mm) == (plan.shoe, plan.sole_pare_mm)
    back = variant_of(varied, plan.toe_trim_mm, mean_heel_trim_mm(plan), plan.wedge_deg)
    for side in ("medial", "lateral"):
        was = getattr(plan, f"heel_trim_{side}_mm")
        assert getattr(back, f"heel_trim_{side}_mm") == (was and pytest.approx(was))
