"""From a film and a plan to readings with their uncertainty."""

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from referral.core.errors import ImpossiblePlan, NotFinite
from referral.core.geometry.scale import Scale, no_scale
from referral.core.measure.film import Film, measure
from referral.core.measure.readings import Measured
from referral.core.predict.growth import OwnRates, Rate
from referral.core.predict.plan import PAGE_EXECUTION_U, ExecutionU, Plan, Shoe
from referral.core.predict.prediction import predict
from referral.core.predict.wedge import wedge_height_mm
from tests.core.predict.feet import (
    FORE,
    FULL_SHOE,
    LANDMARKS,
    ON,
    PLANS,
    film,
    shod_film,
    stated,
    values,
)
from tests.core.predict.test_move import COLUMNS, TABLE

NOTHING_STATED = Measured()
EXACT = {"landmark_sd_mm": 0.0, "sd_given": True}


def foretell(one, plan, profile=FORE, said=NOTHING_STATED, **more):
    return predict(one, said, plan, profile, **more)


def in_pixels(scale, turn_deg=0.0, mirror=1.0, mm_per_px=0.15):
    """Return the foot as seen on a picture, turned and perhaps mirrored."""
    turn = np.radians(turn_deg)
    rows = {"ground_palmar": [-120.0, 0.0], "ground_dorsal": [60.0, 0.0], **LANDMARKS}
    placed = {}
    for name, xy in rows.items():
        x, y = np.moveaxis(np.array(xy) * [mirror, -1.0], -1, 0)
        across = x * np.cos(turn) - y * np.sin(turn)
        down = x * np.sin(turn) + y * np.cos(turn)
        placed[name] = (np.stack([across, down], axis=-1) / mm_per_px + 1500.0).tolist()
    return Film("lateromedial", placed, None, scale, (3000, 3000))


@pytest.mark.parametrize("name", TABLE)
def test_worked_table_from_a_film(name):
    found = foretell(film(), PLANS[name])
    readings = [found.after_fit.readings[code].value for code in COLUMNS]
    every = [found.bearing_length_mm, found.phi_deg, *readings]
    assert tuple(round(value, 2) for value in every) == TABLE[name]


def test_doing_nothing_returns_every_reading_with_its_u():
    one = film(condyles_superimposed=False)
    found = foretell(one, Plan())
    now = measure(one)
    assert found.after_fit.readings.keys() == now.readings.keys()
    for code, reading in now.readings.items():
        after, change = found.after_fit.readings[code], found.change.readings[code]
        assert after.value == pytest.approx(reading.value, abs=1e-9), code
        assert after.u == pytest.approx(reading.u, rel=1e-6, abs=1e-9), code
        assert (after.unit, after.scale_state) == (reading.unit, reading.scale_state)
        assert after.basis == "predicted"
        assert change.value == pytest.approx(0.0, abs=1e-9), code
        assert change.u == pytest.approx(0.0, abs=1e-6), code


def test_a_short_arc_takes_its_u_from_draws_as_when_measured():
    arc = [[-52 + 20 * np.cos(t), 62 + 20 * np.sin(t)] for t in np.radians([230, 256, 284, 310])]
    one = film(landmarks={"p2_condyle": arc})
    now, after = measure(one), foretell(one, Plan()).after_fit
    for code in ("toe_arm_mm", "heel_arm_mm", "dip_height_mm", "behind_centre_percent"):
        assert after.readings[code].u == pytest.approx(now.readings[code].u, rel=0.05)


def test_a_change_is_one_function_not_two_readings():
    found = foretell(film(), PLANS["heel"])
    before, after = (stage.readings["palmar_angle_deg"] for stage in (found.now, found.after_fit))
    change = found.change.readings["palmar_angle_deg"]
    assert change.value == pytest.approx(after.value - before.value)
    assert change.value == pytest.approx(found.phi_deg)
    assert change.u < 0.1 * math.hypot(before.u, after.u)


def test_founder_distance_once_the_tilt_is_taken_out():
    found = foretell(film(), PLANS["heel"])
    assert round(found.now.readings["founder_distance_mm"].value, 2) == 9.55
    assert round(found.after_fit.readings["founder_distance_mm"].value, 2) == 9.94


def test_doing_has_its_own_uncertainty():
    plan = replace(PLANS["all"], execution_u=PAGE_EXECUTION_U)
    found = foretell(film(**EXACT), plan).after_fit.readings
    angle, length = found["palmar_angle_deg"], 151.58
    trims = math.sqrt(2) * math.degrees(1.15 / length)
    assert angle.u == pytest.approx(math.hypot(trims, 0.29), rel=0.03)
    assert 1.73 < found["breakover_distance_mm"].u < math.hypot(1.73, 1.5)
    exact = foretell(film(**EXACT), PLANS["all"]).after_fit.readings
    assert exact["palmar_angle_deg"].u == 0.0


def test_what_is_not_done_cannot_be_done_badly():
    plan = Plan(execution_u=PAGE_EXECUTION_U)
    found = foretell(film(**EXACT), plan).after_fit.readings
    assert {reading.u for reading in found.values()} == {0.0}


@pytest.mark.parametrize(
    ("plan", "code", "u"),
    [
        (Plan(toe_dress_mm=3), "toe_distance_mm", 2.0),
        (Plan(sole_pare_mm=3), "sole_depth_tip_mm", 1.0),
        (Plan(bevel_setback_mm=3), "breakover_distance_mm", 4.0),
        (Plan(shoe=FULL_SHOE), "heel_arm_mm", 2.0),
    ],
)
def test_each_act_has_the_u_of_its_kind(plan, code, u):
    execution = ExecutionU(trim_mm=1.0, wedge_deg=0.5, breakover_mm=4.0, length_mm=2.0)
    found = foretell(film(**EXACT), replace(plan, execution_u=execution)).after_fit
    assert found.readings[code].u == pytest.approx(u, rel=1e-6)


@settings(max_examples=15)
@given(st.floats(0, 360), st.sampled_from([1.0, -1.0]), st.sampled_from(sorted(PLANS)))
def test_turning_or_mirroring_the_picture_changes_no_prediction(turn, mirror, name):
    scale = Scale("corrected", 0.15, 0.15, 0.01)
    found = foretell(in_pixels(scale, turn, mirror), PLANS[name])
    upright = foretell(film(), PLANS[name])
    assert values(found.after_fit) == pytest.approx(values(upright.after_fit), abs=1e-6)
    lengths = found.after_fit.readings["dip_height_mm"]
    assert lengths.scale_state == "corrected"


def test_without_a_scale_only_what_needs_none_is_foretold():
    found = foretell(in_pixels(no_scale()), Plan(wedge_deg=3.0))
    assert found.after_fit.readings["palmar_angle_deg"].value == pytest.approx(8.0, abs=1e-3)
    assert found.after_fit.readings["behind_centre_percent"].unit == "percent"
    assert found.after_fit.absent["sole_depth_tip_mm"] == "needs a scale"
    assert (found.phi_deg, found.bearing_length_mm) == (0.0, None)
    trimmed = foretell(in_pixels(no_scale()), PLANS["heel"])
    assert trimmed.after_fit.absent["palmar_angle_deg"] == "needs a scale"
    assert trimmed.after_fit.readings["bone_angle_deg"].value == pytest.approx(45.0, abs=1e-3)
    assert trimmed.phi_deg is None
    assert not trimmed.joints


def test_due_date_of_a_shod_forefoot():
    found = foretell(film(), replace(PLANS["all"], interval_weeks=5))
    after, due = values(found.after_fit), found.at_due.readings
    forward = 2.1 * 5 * math.cos(math.radians(47.0))
    assert due["palmar_angle_deg"].value == pytest.approx(after["palmar_angle_deg"] - 2.05)
    for code, way in {"breakover_distance_mm": 1, "toe_arm_mm": 1, "heel_arm_mm": -1}.items():
        assert due[code].value == pytest.approx(after[code] + way * forward, abs=1e-4)
    heel, toe = due["heel_arm_mm"].value, due["toe_arm_mm"].value
    assert due["behind_centre_percent"].value == pytest.approx(100 * heel / (heel + toe))
    assert set(due) == {
        "palmar_angle_deg",
        "breakover_distance_mm",
        "toe_arm_mm",
        "heel_arm_mm",
        "behind_centre_percent",
    }
    assert found.at_due.absent["dip_height_mm"] == "no growth model"
    assert found.at_due.absent["sole_depth_tip_mm"].startswith("no growth model: growth of the")
    assert found.weeks == 5
    assert any("Kolstrung" in sentence for sentence in found.assumptions)
    assert any("from memory" in sentence for sentence in found.assumptions)


def test_rates_bring_their_uncertainty():
    found = foretell(film(**EXACT), replace(PLANS["all"], interval_weeks=5)).at_due.readings
    assert found["palmar_angle_deg"].u == pytest.approx(0.5 * 0.41 * 5)
    forward = 2.1 * 5 * math.cos(math.radians(47.0))
    assert found["breakover_distance_mm"].u == pytest.approx(0.19 * forward, rel=1e-4)


def test_feet_without_a_model_of_drift_keep_the_rest():
    hind = foretell(film(), replace(PLANS["all"], interval_weeks=5), replace(FORE, limb="LH"))
    assert "a hind foot" in hind.at_due.absent["palmar_angle_deg"]
    assert "breakover_distance_mm" in hind.at_due.readings
    assert not hind.joints
    assert "hind foot" in hind.warnings[0].text


def test_own_resets_take_the_place_of_shipped_rates():
    own = OwnRates(
        wall_growth_mm=Rate(1.5, 0.1, "own resets", "four resets of this horse"),
        palmar_angle_drift_deg=Rate(0.2, 0.1, "own resets", "four resets of this horse"),
    )
    found = foretell(film(), Plan(interval_weeks=6), own=own)
    due, after = values(found.at_due), values(found.after_fit)
    assert due["palmar_angle_deg"] == pytest.approx(after["palmar_angle_deg"] + 1.2)
    forward = 9.0 * math.cos(math.radians(47.0))
    assert due["toe_arm_mm"] == pytest.approx(after["toe_arm_mm"] + forward, abs=1e-4)


def test_no_interval_no_due_date():
    found = foretell(film(), PLANS["heel"])
    assert found.weeks is None
    assert set(found.at_due.absent.values()) == {"needs plan.interval_weeks"}
    assert not found.at_due.readings


def test_no_wall_no_growth():
    found = foretell(film("wall_proximal"), Plan(interval_weeks=4, shoe=FULL_SHOE))
    assert found.at_due.absent["toe_arm_mm"].startswith("needs the dorsal wall")
    assert "palmar_angle_deg" in found.at_due.readings


def test_no_heel_no_share_behind_the_centre():
    bare = film("heel", "heel_wall_proximal", "heel_wall_distal")
    found = foretell(bare, Plan(interval_weeks=4, shoe=FULL_SHOE))
    assert found.at_due.absent["behind_centre_percent"] == "needs heel"
    assert "toe_arm_mm" in found.at_due.readings


def test_old_film_gives_angles_but_no_lengths():
    one = film(taken_on=ON - timedelta(days=20))
    found = foretell(one, replace(PLANS["all"], interval_weeks=5))
    assert "palmar_angle_deg" in found.after_fit.readings
    for stage in (found.after_fit, found.change):
        assert "20 days older" in stage.absent["sole_depth_tip_mm"]
        assert "20 days older" in stage.absent["behind_centre_percent"]
    assert "20 days older" in found.at_due.absent["breakover_distance_mm"]
    assert [caveat.code for caveat in found.warnings][:1] == ["film_day"]
    assert "sole_depth_tip_mm" in found.now.readings


def test_growth_since_the_film_is_horn_that_the_trim_meets_first():
    one = film(taken_on=ON - timedelta(days=21), **EXACT)
    found = foretell(one, Plan(growth_since_film=True))
    grown = 2.1 * 3
    up = {"toe": grown * math.sin(math.radians(47)), "heel": grown * math.sin(math.radians(45))}
    length = 146.494 + grown * (math.cos(math.radians(47)) - math.cos(math.radians(45)))
    phi = math.degrees(math.atan2(up["heel"] - up["toe"], length))
    assert found.phi_deg == pytest.approx(phi, abs=1e-4)
    assert found.after_fit.readings["sole_depth_tip_mm"].value == pytest.approx(12.0, abs=1e-3)
    assert found.after_fit.readings["tip_to_ground_mm"].u > 0.0
    assert "The walls grew for 3.0 weeks since the film." in found.assumptions
    trimmed = Plan(growth_since_film=True, toe_trim_mm=up["toe"], heel_trim_mm=up["heel"])
    back = foretell(one, trimmed)
    assert values(back.after_fit) == pytest.approx(values(back.now), abs=1e-4)


def test_shoe_is_taken_off_first():
    found = foretell(shod_film(), PLANS["all"])
    bare = foretell(film(), PLANS["all"])
    assert values(found.after_fit) == pytest.approx(values(bare.after_fit), abs=1e-9)
    assert found.change.readings["tip_to_ground_mm"].value == pytest.approx(
        bare.after_fit.readings["tip_to_ground_mm"].value - 25.0
    )


def test_breakover_of_the_old_shoe_is_gone_with_it():
    found = foretell(shod_film(), Plan())
    assert found.after_fit.absent["breakover_distance_mm"] == "needs breakover"
    assert found.after_fit.readings["toe_distance_mm"].value == pytest.approx(41.494, abs=1e-3)
    assert found.after_fit.readings["bearing_length_mm"].value == pytest.approx(146.494, abs=1e-3)
    assert "breakover_distance_mm" not in found.change.readings


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (film(shod="unknown"), "film_shod"),
        (film(shod="yes"), "film_shod"),
        (film("toe", "breakover", "wall_proximal"), "needs toe or wall_proximal"),
        (Film("lateromedial", {"toe": [3, 3]}, None, no_scale(), (9, 9)), "needs ground_palmar"),
    ],
)
def test_nothing_is_foretold_and_says_why(one, words):
    found = foretell(one, replace(PLANS["heel"], interval_weeks=4))
    for stage in (found.after_fit, found.at_due, found.change):
        assert not stage.readings
        assert all(why.startswith(words) for why in stage.absent.values())
    assert (found.phi_deg, found.bearing_length_mm) == (None, None)
    assert found.warnings[0].code == "not_predicted"


def test_a_film_of_three_points_still_foretells_its_angle():
    one = Film("lateromedial", None, dict(list(LANDMARKS.items())[:2]), no_scale(), None)
    found = foretell(one, Plan())
    assert found.after_fit.readings["palmar_angle_deg"].value == pytest.approx(5.0, abs=1e-3)


def test_two_points_do_not_make_a_condyle():
    one = film(landmarks={"p2_condyle": LANDMARKS["p2_condyle"][:2]})
    found = foretell(one, PLANS["heel"])
    assert found.after_fit.absent["dip_height_mm"] == "needs p2_condyle"
    assert "phalangeal_rotation_deg" in found.after_fit.readings


def test_impossible_plans_are_refused():
    with pytest.raises(ImpossiblePlan, match=r"25\.0 mm at most"):
        foretell(film(), Plan(heel_trim_mm=30))
    with pytest.raises(NotFinite):
        foretell(film(), Plan(heel_trim_mm=math.nan))
    with pytest.raises(ImpossiblePlan, match=r"12\.0 mm at most"):
        foretell(
            None, Plan(sole_pare_mm=13), said=stated(sole_depth_tip_mm=12.0, tip_to_ground_mm=15.0)
        )


def test_wedge_stated_by_its_height_alone():
    length = foretell(film(), PLANS["heel"]).bearing_length_mm
    height = float(wedge_height_mm(length, 3.0))
    for plan in (
        replace(PLANS["all"], wedge_deg=0.0, wedge_mm=height),
        replace(PLANS["all"], wedge_deg=0.0, wedge_mm=height / 2, wedge_length_mm=length / 2),
    ):
        found = foretell(film(), plan)
        assert round(found.after_fit.readings["palmar_angle_deg"].value, 2) == 6.11
        assert any("worked out from its height" in sentence for sentence in found.assumptions)


def test_joints_are_information_with_their_cost():
    found = foretell(film(), Plan(wedge_deg=3.0, shoe=FULL_SHOE))
    assert round(found.joints["dip_flexion_deg"], 2) == 2.95
    text = " ".join(found.assumptions)
    assert "load the heel horn" in text
    assert "shorter lever" in text
    assert "less force" not in text
    assert [caveat.code for caveat in found.warnings] == ["joint_response_varies"]


def test_beyond_the_wedges_that_were_studied():
    found = foretell(film(), Plan(wedge_deg=16.0))
    assert "beyond_study" in [caveat.code for caveat in found.warnings]


def test_heel_without_a_wall_slopes_as_the_toe_does_and_says_so():
    found = foretell(film("heel_wall_proximal"), PLANS["heel"])
    assert any("heels are taken to slope" in sentence for sentence in found.assumptions)
    run = 5.0 / math.tan(math.radians(47.0))
    assert found.bearing_length_mm == pytest.approx(math.hypot(146.494 + run, 5.0), abs=1e-3)


def test_heels_trimmed_differently_count_with_their_mean():
    plan = Plan(heel_trim_medial_mm=4.0, heel_trim_lateral_mm=6.0)
    found = foretell(film(), plan)
    assert found.phi_deg == foretell(film(), PLANS["heel"]).phi_deg
    assert any("mean of the inside and the outside" in line for line in found.assumptions)


def test_a_reading_of_another_view_is_not_foretold():
    found = foretell(film(), Plan(), said=stated(p3_tilt_deg=1.5))
    assert found.now.readings["p3_tilt_deg"].value == 1.5
    assert found.after_fit.absent["p3_tilt_deg"] == "a side view does not show it"


def test_a_stated_value_in_the_films_place_moves_as_the_film_does():
    said = stated(u=0.5, palmar_angle_deg=4.0)
    angle = replace(said.readings["palmar_angle_deg"], instead_of_film=True)
    plan = replace(PLANS["all"], interval_weeks=5)
    found = foretell(film(), plan, said=Measured({"palmar_angle_deg": angle}))
    own = foretell(film(), plan)
    change = own.change.readings["palmar_angle_deg"]
    after = found.after_fit.readings["palmar_angle_deg"]
    assert after.value == pytest.approx(4.0 + change.value)
    assert after.u == pytest.approx(math.hypot(0.5, change.u))
    assert found.at_due.readings["palmar_angle_deg"].value == pytest.approx(after.value - 2.05)
    assert found.change.readings["palmar_angle_deg"].value == pytest.approx(change.value)


@pytest.mark.parametrize(
    ("wall", "words"), [("wall", "the dorsal wall is marked"), ("heel_wall", "the heel wall is")]
)
def test_a_wall_marked_level_never_meets_the_ground(wall, words):
    level = {f"{wall}_proximal": [-30.0, 5.0], f"{wall}_distal": [40.0, 5.0]}
    found = foretell(film(landmarks=level), Plan(shoe=Shoe("open")))
    assert found.after_fit.absent["palmar_angle_deg"].startswith(words)
    assert "palmar_angle_deg" in found.now.readings


def test_lines_that_do_not_meet_give_no_reading():
    # The wall stands square to the face of the bone, so its thickness cannot be read.
    one = film(landmarks={"wall_proximal": [40.0, 40.0], "wall_distal": [0.0, 0.0]}, **EXACT)
    square = {"p3_dorsal_proximal": [-30.0, 45.0], "p3_dorsal_distal": [0.0, 15.0]}
    one = replace(one, landmarks_mm={**one.landmarks_mm, **square})
    found = foretell(one, Plan())
    why = found.after_fit.absent["wall_thickness_mid_mm"]
    assert why == "the lines it is read between do not meet"
