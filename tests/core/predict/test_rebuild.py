"""Without a film the foot is rebuilt from stated readings; the rest is absent, never guessed."""

import math
from dataclasses import replace

import pytest

from referral.core.measure.readings import Measured
from referral.core.predict.plan import Plan, Shoe
from referral.core.predict.prediction import predict
from tests.core.predict.feet import FORE, FULL_SHOE, PLANS, STATED, film, stated, values
from tests.core.predict.test_move import COLUMNS, TABLE

WEDGED = Plan(wedge_deg=3.0, interval_weeks=5, shoe=FULL_SHOE)


def foretell(said, plan):
    return predict(None, said, plan, FORE)


@pytest.mark.parametrize("name", TABLE)
def test_worked_table_from_stated_readings(name):
    found = foretell(stated(**STATED), PLANS[name])
    every = [found.bearing_length_mm, found.phi_deg]
    every += [found.after_fit.readings[code].value for code in COLUMNS]
    assert tuple(round(value, 2) for value in every) == TABLE[name]


def test_film_and_stated_readings_foretell_alike():
    plan = replace(PLANS["all"], interval_weeks=5)
    filmed = predict(film(), Measured(), plan, FORE)
    found = foretell(stated(**STATED), plan)
    for stage in ("after_fit", "at_due", "change"):
        rebuilt = values(getattr(found, stage))
        assert rebuilt
        assert rebuilt == pytest.approx(
            {code: values(getattr(filmed, stage))[code] for code in rebuilt}, abs=1e-3
        )


def test_doing_nothing_returns_what_was_stated():
    found = foretell(stated(**STATED), Plan())
    for code, value in STATED.items():
        after = found.after_fit.readings[code]
        assert after.value == pytest.approx(value, abs=1e-9)
        assert after.u == pytest.approx(0.72, rel=1e-6)


def test_an_angle_alone_is_wedged_but_not_trimmed():
    alone = stated(palmar_angle_deg=4.0)
    found = foretell(alone, WEDGED)
    after = found.after_fit.readings["palmar_angle_deg"]
    assert (round(after.value, 6), round(after.u, 6)) == (7.0, 0.72)
    assert found.at_due.readings["palmar_angle_deg"].value == pytest.approx(7.0 - 2.05)
    assert found.after_fit.absent["dorsal_wall_angle_deg"].startswith("needs dorsal_wall_angle")
    assert found.bearing_length_mm is None
    walled = foretell(stated(palmar_angle_deg=4.0, dorsal_wall_angle_deg=50.0), PLANS["heel"])
    assert walled.after_fit.absent["palmar_angle_deg"] == "needs bearing_length_mm"
    assert walled.phi_deg is None
    bare = foretell(alone, PLANS["heel"])
    assert bare.after_fit.absent["palmar_angle_deg"].startswith("needs the dorsal wall")


def test_what_hangs_on_an_unsaid_length_says_which():
    found = foretell(stated(palmar_angle_deg=4.0, sole_depth_tip_mm=12.5), WEDGED)
    depth = found.after_fit.readings["sole_depth_tip_mm"]
    assert depth.value == pytest.approx(12.5 * math.cos(math.radians(3.0)))
    absent = found.after_fit.absent
    assert absent["toe_distance_mm"] == "needs tip_to_ground_mm and toe_distance_mm"
    assert absent["sole_cup_tip_mm"] == "needs tip_to_ground_mm"
    assert "bearing_length_mm" in absent["behind_centre_percent"]
    assert "toe_arm_mm" in absent["behind_centre_percent"]
    assert absent["founder_distance_mm"].startswith("cannot be rebuilt from stated readings")
    assert found.at_due.absent["toe_arm_mm"].startswith("needs the dorsal wall")


def test_a_trim_may_take_sole_that_nobody_placed():
    said = stated(sole_depth_tip_mm=12.5, dorsal_wall_angle_deg=50.0, bearing_length_mm=130.0)
    found = foretell(said, Plan(toe_trim_mm=4.0, heel_trim_mm=4.0))
    assert found.after_fit.absent["sole_depth_tip_mm"] == "needs tip_to_ground_mm"
    placed = stated(
        **{code: reading.value for code, reading in said.readings.items()}, tip_to_ground_mm=14.0
    )
    level = foretell(placed, Plan(toe_trim_mm=4.0, heel_trim_mm=4.0))
    assert level.after_fit.readings["sole_depth_tip_mm"].value == pytest.approx(10.0)


def test_bearing_length_follows_from_both_arms():
    said = stated(toe_arm_mm=62.0, heel_arm_mm=66.0)
    found = foretell(said, Plan(interval_weeks=5))
    assert found.bearing_length_mm == pytest.approx(128.0)
    # 66 of 128: the worked share of support behind the centre of rotation.
    assert found.after_fit.readings["behind_centre_percent"].value == pytest.approx(51.6, abs=0.05)


@pytest.mark.parametrize(
    ("toe", "heel", "percent"), [(60, 60, 50.0), (75, 55, 42.3), (62, 66, 51.6)]
)
def test_share_behind_the_centre(toe, heel, percent):
    found = foretell(stated(toe_arm_mm=toe, heel_arm_mm=heel), Plan())
    assert round(found.after_fit.readings["behind_centre_percent"].value, 1) == percent


def test_heel_arm_and_length_place_the_centre():
    said = stated(heel_arm_mm=66.0, bearing_length_mm=128.0)
    found = foretell(said, Plan())
    assert found.after_fit.readings["toe_arm_mm"].value == pytest.approx(62.0)
    lone = foretell(stated(heel_arm_mm=66.0), Plan())
    assert lone.after_fit.readings["heel_arm_mm"].value == pytest.approx(66.0)
    assert lone.after_fit.absent["toe_arm_mm"] == "needs bearing_length_mm"


def test_a_length_is_as_good_as_the_scale_it_was_read_with():
    parts = {
        **stated(scale="marker", tip_to_ground_mm=15.0, sole_depth_tip_mm=12.0).readings,
        **stated(scale="unsaid", toe_distance_mm=40.0).readings,
        **stated(scale="none", palmar_angle_deg=5.0).readings,
    }
    found = foretell(Measured(parts), WEDGED).after_fit.readings
    assert found["sole_depth_tip_mm"].scale_state == "marker"
    assert found["tip_to_ground_mm"].scale_state == "unsaid"
    assert found["palmar_angle_deg"].scale_state == "none"


def test_nothing_stated_nothing_foretold():
    found = foretell(Measured(), WEDGED)
    assert set(found.after_fit.readings) == set()
    assert found.assumptions[0].startswith("There is no film")


@pytest.mark.parametrize(("shorter_mm", "percent"), [(8.0, -9.3), (9.0, -10.5)])
def test_a_shoe_set_back_shortens_the_arm_of_the_toe_as_was_measured(shorter_mm, percent):
    """Eliashar 2002, EVJ 34:184, nine horses at the trot: arms of 86, 78 and 77 mm.

    A shoe fitted to the white line, and one with its toe set back; the means alone, as changes.
    """
    foot = stated(toe_arm_mm=86.0, heel_arm_mm=66.0)
    shoe = Shoe("open", thickness_mm=8.0, breakover_setback_mm=shorter_mm)
    arm = {
        name: foretell(foot, Plan(shoe=each)).after_fit.readings["toe_arm_mm"].value
        for name, each in (("flush", replace(shoe, breakover_setback_mm=0.0)), ("back", shoe))
    }
    assert arm["flush"] == pytest.approx(86.0)
    assert round(100.0 * (arm["back"] / arm["flush"] - 1.0), 1) == percent
