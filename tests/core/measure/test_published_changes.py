"""Published means before and after a trim, as changes; single values of other horses prove nothing.

Source: Dareh-Shori and others, Iranian Journal of Veterinary Surgery (ten horses, lateromedial
films before and after trimming); means as printed, centimetres turned into millimetres.
"""

from datetime import date

import pytest

from referral.core.measure.readings import Profile
from referral.core.measure.stated import StatedValue, stated_readings
from referral.core.predict.plan import Plan
from referral.core.predict.prediction import predict
from referral.core.trend.series import Point, change_between

DAY = date(2026, 1, 5)
BEFORE = {
    "toe_distance_mm": 13.7,
    "sole_depth_tip_mm": 11.5,
    "dip_height_mm": 40.6,
    "bearing_length_mm": 136.9,
    "dorsal_wall_angle_deg": 50.05,
    "dorsal_p3_angle_deg": 48.65,
    "p2_angle_deg": 45.65,
}
AFTER = {
    "toe_distance_mm": 11.7,
    "sole_depth_tip_mm": 8.6,
    "dip_height_mm": 38.8,
    "bearing_length_mm": 130.1,
    "dorsal_wall_angle_deg": 51.40,
    "dorsal_p3_angle_deg": 50.60,
    "p2_angle_deg": 47.90,
}
PRINTED = {
    "toe_distance_mm": -2.0,
    "sole_depth_tip_mm": -2.9,
    "dip_height_mm": -1.8,
    "bearing_length_mm": -6.8,
    "dorsal_wall_angle_deg": 1.35,
    "dorsal_p3_angle_deg": 1.95,
    "p2_angle_deg": 2.25,
}


def change(code):
    return change_between(Point(DAY, BEFORE[code], 0.0), Point(DAY, AFTER[code], 0.0)).value


@pytest.mark.parametrize(("code", "printed"), PRINTED.items())
def test_changes_are_those_that_were_published(code, printed):
    assert change(code) == pytest.approx(printed, abs=0.005)


def test_a_reading_made_of_two_is_derived_from_them_and_not_from_its_own_printed_mean():
    # The trap: printed means of rotation (bone less wall) go from -2.00 to -1.65 and of the joint
    # (coffin less short pastern bone) from 3.30 to 3.40, each horse's own difference averaged;
    # the differences of the printed means are others, so the two are never compared.
    rotation = [
        each["dorsal_p3_angle_deg"] - each["dorsal_wall_angle_deg"] for each in (BEFORE, AFTER)
    ]
    joint = [each["dorsal_p3_angle_deg"] - each["p2_angle_deg"] for each in (BEFORE, AFTER)]
    assert rotation == pytest.approx([-1.40, -0.80])
    assert joint == pytest.approx([3.00, 2.70])
    assert rotation != pytest.approx([-2.00, -1.65], abs=0.1)
    assert joint != pytest.approx([3.30, 3.40], abs=0.1)


def test_a_trim_that_turns_the_hoof_as_much_shortens_it_as_published():
    """The toe lowered more than the heels by L tan(1.35 degrees), 2.9 mm taken at the toe."""
    stated = stated_readings(
        {code: StatedValue(each, 0.0, "marker") for code, each in BEFORE.items()}
    )
    heel_mm = 2.9 - 136.9 * 0.02357  # tan 1.35 degrees
    plan = Plan(toe_trim_mm=2.9 - min(heel_mm, 0.0), heel_trim_mm=max(heel_mm, 0.0))
    found = predict(None, stated, plan, Profile("LF", "adult_horse", DAY)).change.readings
    assert found["bearing_length_mm"].value * PRINTED["bearing_length_mm"] > 0
    assert found["dorsal_wall_angle_deg"].value == pytest.approx(1.35, abs=0.15)
