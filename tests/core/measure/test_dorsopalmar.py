"""A foot seen from the front."""

import math

import numpy as np
import pytest

from referral.core.errors import CoreError
from referral.core.measure.dorsopalmar import NEEDS, dorsopalmar_readings
from referral.core.measure.film import measure
from referral.core.measure.registry import measure_of
from tests.core.measure.feet import FRONT_MM, film_of, foot_frame_film, to_px, values

GROUND = {"ground_medial": (-70.0, 0.0), "ground_lateral": (70.0, 0.0)}
POINTS = {name: np.array(each) for name, each in FRONT_MM.items()}
MEDIAL_WALL_DEG = math.degrees(math.atan2(60.0, 5.0))
LATERAL_WALL_DEG = math.degrees(math.atan2(60.0, 15.0))
WANTED = {
    "p3_tilt_deg": 1.51,
    "joint_tilt_deg": 0.0,
    "joint_space_medial_mm": 2.0,
    "joint_space_lateral_mm": 2.6,
    "joint_space_difference_mm": 0.6,
    "sole_depth_medial_mm": 18.0,
    "sole_depth_lateral_mm": 20.0,
    "coronet_height_medial_mm": 66.0,
    "coronet_height_lateral_mm": 68.0,
    "wall_angle_medial_deg": MEDIAL_WALL_DEG,
    "wall_angle_lateral_deg": LATERAL_WALL_DEG,
    # Half way down the walls stand at 47.5 and 52.5 mm.
    "wall_thickness_medial_mm": 11.5 * math.sin(math.radians(MEDIAL_WALL_DEG)),
    "wall_thickness_lateral_mm": 15.5 * math.sin(math.radians(LATERAL_WALL_DEG)),
}


def front_film(**said):
    said = {"landmarks_px": to_px({**FRONT_MM, **GROUND}), "size_px": None} | said
    return film_of(view="dorsopalmar", **said)


def test_the_worked_front_view_reads_as_its_geometry():
    for film in (front_film(), foot_frame_film(FRONT_MM, view="dorsopalmar")):
        found = values(measure(film))
        assert found.keys() == WANTED.keys() == NEEDS.keys()
        assert found == pytest.approx(WANTED, abs=0.005)


def test_the_joint_is_a_third_wider_on_the_lateral_side():
    found = values(measure(front_film()))
    ratio = found["joint_space_lateral_mm"] / found["joint_space_medial_mm"]
    assert ratio == pytest.approx(1.30, abs=1e-6)


def test_a_joint_space_of_one_film_is_called_low_confidence():
    # Side wedges tilt the bone and give no consistent joint space: one film is not enough to
    # trim by. Source: Hagen 2017, J Equine Vet Sci, mediolateral companion (abstract).
    assert "low confidence" in measure_of("joint_space_difference_mm").sentence
    assert values(measure(front_film()))["joint_space_difference_mm"] == pytest.approx(0.6)


def test_a_mirrored_front_view_reads_the_same():
    mirrored = front_film(landmarks_px=to_px({**FRONT_MM, **GROUND}, turn_deg=170, mirrored=True))
    assert values(measure(mirrored)) == pytest.approx(WANTED, abs=0.005)


@pytest.mark.parametrize("code", NEEDS)
def test_a_front_reading_needs_its_own_landmarks_and_no_others(code):
    found = dorsopalmar_readings({name: POINTS[name] for name in NEEDS[code]})
    assert float(found[code]) == pytest.approx(WANTED[code], abs=0.005)
    for name in NEEDS[code]:
        rest = {other: POINTS[other] for other in NEEDS[code] if other != name}
        assert code not in dorsopalmar_readings(rest)


def test_exchanged_sides_are_refused():
    swapped = GROUND | {"ground_medial": (70.0, 0.0), "ground_lateral": (-70.0, 0.0)}
    with pytest.raises(CoreError, match="p3_margin_medial lies in front of p3_margin_lateral"):
        measure(front_film(landmarks_px=to_px({**FRONT_MM, **swapped})))


def test_without_ground_points_a_front_view_has_no_reading():
    measured = measure(front_film(landmarks_px=to_px(FRONT_MM)))
    assert not measured.readings
    assert measured.absent["p3_tilt_deg"] == "needs ground_medial and ground_lateral"


def test_an_oblique_film_from_the_front_is_doubted_in_its_own_words():
    """Widths are widened by the same 20 degrees as on a film from the side; upright is not."""
    square = measure(front_film(condyles_superimposed=True))
    oblique = measure(front_film(condyles_superimposed=False))
    assert [each.code for each in square.warnings] == []
    (caveat,) = oblique.warnings
    assert caveat.code == "oblique"
    assert "widths along the ground" in caveat.text
    assert "condyles" not in caveat.text
    for code, reading in oblique.readings.items():
        assert reading.value == square.readings[code].value
        assert reading.u >= square.readings[code].u
    assert oblique.readings["wall_angle_medial_deg"].u > square.readings["wall_angle_medial_deg"].u
