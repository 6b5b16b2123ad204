"""The worked foot: invented coordinates whose readings follow from plane geometry by hand."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from referral.core.geometry.scale import spacing_scale
from referral.core.measure.film import foot_points, measure
from referral.core.measure.lateromedial import (
    NEEDS,
    lateromedial_absent,
    lateromedial_readings,
)
from tests.core.measure.feet import (
    FOOT_MM,
    GROUND_MM,
    film_of,
    foot_frame_film,
    to_px,
    values,
)

WANTED = {
    "palmar_angle_deg": (5.00, 0.005),
    "dorsal_p3_angle_deg": (50.00, 0.005),
    "bone_angle_deg": (45.00, 0.005),
    "dorsal_wall_angle_deg": (47.00, 0.005),
    "capsular_rotation_deg": (3.00, 0.005),
    "heel_angle_deg": (45.00, 0.005),
    "toe_heel_difference_deg": (2.00, 0.005),
    "p2_angle_deg": (45.00, 0.005),
    "phalangeal_rotation_deg": (5.00, 0.005),
    "wall_thickness_proximal_mm": (17.00, 0.005),
    "wall_thickness_mid_mm": (18.57, 0.005),
    "wall_thickness_distal_mm": (20.14, 0.005),
    "wall_to_cortex_ratio": (0.281, 0.0005),
    "lamellar_lucent_zone_mm": (7.00, 0.005),
    "palmar_cortex_length_mm": (66.00, 0.005),
    "founder_distance_mm": (9.55, 0.005),
    "tip_to_ground_mm": (15.0, 0.05),
    "sole_depth_tip_mm": (12.0, 0.005),
    "sole_depth_process_mm": (15.275, 0.005),
    "sole_cup_tip_mm": (3.0, 0.005),
    "breakover_distance_mm": (41.5, 0.05),
    "toe_distance_mm": (41.5, 0.05),
    "toe_arm_mm": (93.5, 0.05),
    "heel_arm_mm": (53.0, 0.05),
    "behind_centre_percent": (36.18, 0.005),
    "dip_height_mm": (62.0, 0.005),
    "bearing_length_mm": (146.49, 0.005),
}
POINTS = {name: np.array(each) for name, each in FOOT_MM.items()}
TURN_FREE = (
    "capsular_rotation_deg",
    "bone_angle_deg",
    "phalangeal_rotation_deg",
    "toe_heel_difference_deg",
    "wall_thickness_proximal_mm",
    "wall_thickness_mid_mm",
    "wall_thickness_distal_mm",
    "wall_to_cortex_ratio",
    "lamellar_lucent_zone_mm",
    "palmar_cortex_length_mm",
)


@pytest.mark.parametrize("film", [film_of(), foot_frame_film()], ids=["pixels", "foot frame"])
def test_every_reading_of_the_worked_foot(film):
    measured = measure(film)
    assert set(measured.readings) == set(WANTED)
    assert set(measured.absent) == {"sole_to_shoe_mm"}
    for code, (wanted, within) in WANTED.items():
        assert measured.readings[code].value == pytest.approx(wanted, abs=within), code


def test_the_wall_grows_thicker_downwards_by_length_times_tan_of_rotation():
    found = values(measure(foot_frame_film()))
    growth = found["wall_thickness_distal_mm"] - found["wall_thickness_proximal_mm"]
    assert growth == pytest.approx(60.0 * math.tan(math.radians(3.0)), abs=0.005)


def test_the_arms_are_in_the_ratio_of_the_worked_foot():
    found = values(measure(foot_frame_film()))
    assert found["toe_arm_mm"] / found["heel_arm_mm"] == pytest.approx(1.76, abs=0.005)
    assert 100.0 - found["behind_centre_percent"] == pytest.approx(63.8, abs=0.05)


def test_heels_lifted_by_two_degrees_shift_the_ground_angles_together_and_nothing_else():
    turn = math.radians(2.0)
    # Heels up: the foot turns clockwise where x points to the toe and y up.
    turned = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    before = lateromedial_readings(POINTS)
    after = lateromedial_readings({name: each @ turned for name, each in POINTS.items()})
    for code in ("palmar_angle_deg", "dorsal_p3_angle_deg", "dorsal_wall_angle_deg"):
        assert float(after[code] - before[code]) == pytest.approx(2.0, abs=1e-9)
    for code in TURN_FREE:
        assert float(after[code]) == pytest.approx(float(before[code]), abs=1e-9), code


@settings(deadline=None, max_examples=40)
@given(
    st.floats(-180.0, 180.0),
    st.booleans(),
    st.floats(0.05, 0.4),
    st.floats(0.05, 0.4),
    st.tuples(st.floats(-900.0, 900.0), st.floats(-900.0, 900.0)),
)
def test_turning_mirroring_moving_or_resampling_the_picture_changes_no_reading(
    turn, mirrored, row, column, shift
):
    points = to_px({**FOOT_MM, **GROUND_MM}, row, column, turn, mirrored)
    film = film_of(
        landmarks_px={name: each + shift for name, each in points.items()},
        size_px=None,
        scale=spacing_scale(row, column, "corrected", "fiducial"),
    )
    straight, other = measure(film_of()).readings, measure(film).readings
    assert other.keys() == straight.keys()
    for code, reading in straight.items():
        assert other[code].value == pytest.approx(reading.value, abs=1e-6), code
        assert other[code].u == pytest.approx(reading.u, rel=1e-4), code


@settings(deadline=None, max_examples=30)
@given(st.floats(0.2, 5.0))
def test_a_foot_of_another_size_has_the_same_angles_and_ratios(factor):
    larger = lateromedial_readings({name: each * factor for name, each in POINTS.items()})
    for code, value in lateromedial_readings(POINTS).items():
        grown = value * factor if code.endswith("_mm") else value
        assert float(larger[code]) == pytest.approx(float(grown), rel=1e-9, abs=1e-9), code


def test_many_feet_at_once_read_as_one_by_one():
    rng = np.random.default_rng(3)
    feet = {name: each + rng.normal(0, 0.5, (4, *each.shape)) for name, each in POINTS.items()}
    together = lateromedial_readings(feet)
    for index in range(4):
        alone = lateromedial_readings({name: each[index] for name, each in feet.items()})
        for code, value in alone.items():
            assert float(together[code][index]) == pytest.approx(float(value), abs=1e-6), code


def test_points_of_a_film_come_back_in_the_foot_frame():
    found = foot_points(film_of())
    tip = found["p3_tip"]
    for name, wanted in FOOT_MM.items():
        moved = found[name] - tip + np.array(FOOT_MM["p3_tip"])
        np.testing.assert_allclose(moved, wanted, atol=1e-9)
    assert tip[1] == pytest.approx(15.0)


@pytest.mark.parametrize("code", [code for code in NEEDS if code != "sole_to_shoe_mm"])
def test_a_reading_needs_its_own_landmarks_and_no_others(code):
    chosen = [need.split("|")[0] for need in NEEDS[code]]
    found = lateromedial_readings({name: POINTS[name] for name in chosen})
    assert float(found[code]) == pytest.approx(WANTED[code][0], abs=WANTED[code][1])
    for name in chosen:
        rest = [other for other in chosen if other != name]
        assert code not in lateromedial_readings({other: POINTS[other] for other in rest})
        assert name in lateromedial_absent(rest)[code]


def test_the_toe_serves_where_there_is_no_breakover():
    names = ("p2_condyle", "toe", "heel")
    found = lateromedial_readings({name: POINTS[name] for name in names})
    assert float(found["toe_arm_mm"]) == pytest.approx(93.494, abs=1e-9)
    assert lateromedial_absent(["p2_condyle", "heel"])["behind_centre_percent"] == (
        "needs breakover or toe"
    )


def test_a_moved_centre_stands_for_the_condyle():
    moved = {"condyle_centre": np.array([-50.0, 60.0]), "heel": POINTS["heel"]}
    found = lateromedial_readings(moved)
    assert float(found["heel_arm_mm"]) == 55.0
    assert "dip_height_mm" not in lateromedial_absent(moved)


def test_both_processes_are_averaged():
    # Two processes 50 mm apart, beam h above them, tube to foot 620 mm: the picture shows
    # them h (620/595 - 620/645) apart in height, and one alone is wrong by half of that.
    for beam, shift in ((0.0, 0.0), (20.0, 0.6), (40.0, 1.3), (60.0, 1.9)):
        apart = beam * (620.0 / 595.0 - 620.0 / 645.0)
        tip, middle = np.array([0.0, 15.0]), np.array([-71.726, 21.275])
        half = np.array([0.0, apart / 2.0])
        low, high = middle - half, middle + half
        both = {"p3_tip": tip, "p3_palmar_process": low, "p3_palmar_process_2": high}
        one = {"p3_tip": tip, "p3_palmar_process": high}
        mean = float(lateromedial_readings(both)["palmar_angle_deg"])
        alone = float(lateromedial_readings(one)["palmar_angle_deg"])
        assert mean == pytest.approx(5.0, abs=0.005)
        assert alone - mean == pytest.approx(shift, abs=0.05)


@pytest.mark.parametrize(
    ("turn_deg", "wall", "palmar", "rotation"),
    [(10.0, 50.43, 5.08, 7.96), (15.0, 50.97, 5.18, 7.91), (20.0, 51.74, 5.32, 7.83)],
)
def test_an_oblique_film_reads_as_the_plane_model_says(turn_deg, wall, palmar, rotation):
    # A foot turned about the vertical: lengths along the ground shrink by its cosine.
    shrink = np.array([math.cos(math.radians(turn_deg)), 1.0])

    def line(angle_deg):
        angle = math.radians(angle_deg)
        return np.zeros(2), np.array([math.cos(angle), -math.sin(angle)]) * shrink * 50.0

    (bone_a, bone_b), (wall_a, wall_b), (wall2_a, wall2_b) = line(58.0), line(50.0), line(50.0)
    process, tip = line(5.0)
    seen = lateromedial_readings(
        {
            "p3_dorsal_proximal": bone_a,
            "p3_dorsal_distal": bone_b,
            "wall_proximal": wall_a,
            "wall_distal": wall_b,
            "heel_wall_proximal": wall2_a,
            "heel_wall_distal": wall2_b,
            "p3_palmar_process": process,
            "p3_tip": tip,
        }
    )
    assert float(seen["dorsal_wall_angle_deg"]) == pytest.approx(wall, abs=0.005)
    assert float(seen["palmar_angle_deg"]) == pytest.approx(palmar, abs=0.005)
    assert float(seen["capsular_rotation_deg"]) == pytest.approx(rotation, abs=0.015)
