"""A foot of known angles, photographed from the side: its own angles come back."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError, DegenerateLine
from referral.core.geometry.scale import no_scale
from referral.core.measure.film import foot_points, measure
from referral.core.measure.registry import MEASURES
from referral.core.measure.side_photo import NEEDS, side_photo_readings
from tests.core.measure.feet import values
from tests.core.measure.photos import SIDE_MM, SIDE_WANTED, photo_of

POINTS = {name: np.array(each) for name, each in SIDE_MM.items()}


def side(points_mm=None, **said):
    return photo_of("side_photo", points_mm, **said)


def test_a_foot_of_known_angles_reads_as_its_angles():
    measured = measure(side())
    assert values(measured) == pytest.approx(SIDE_WANTED, abs=1e-9)
    assert not measured.absent
    assert NEEDS.keys() == SIDE_WANTED.keys()


@given(turn_deg=st.floats(-180.0, 180.0), mirrored=st.booleans(), factor=st.floats(0.3, 3.0))
def test_turning_mirroring_and_coming_nearer_change_nothing(turn_deg, mirrored, factor):
    film = side(turn_deg=turn_deg, mirrored=mirrored)
    nearer = {name: each * factor for name, each in film.landmarks_px.items()}
    found = values(measure(replace(film, landmarks_px=nearer)))
    assert found == pytest.approx(SIDE_WANTED, abs=1e-6)


@pytest.mark.parametrize("code", NEEDS)
def test_a_reading_needs_its_own_landmarks_and_no_others(code):
    found = side_photo_readings({name: POINTS[name] for name in NEEDS[code]})
    assert float(found[code]) == pytest.approx(SIDE_WANTED[code], abs=1e-9)
    for name in NEEDS[code]:
        rest = {other: POINTS[other] for other in NEEDS[code] if other != name}
        assert code not in side_photo_readings(rest)


def test_broadcasting_equals_looping():
    rng = np.random.default_rng(4)
    batch = {name: each + rng.normal(0.0, 2.0, (5, 2)) for name, each in POINTS.items()}
    together = side_photo_readings(batch)
    for place in range(5):
        alone = side_photo_readings({name: each[place] for name, each in batch.items()})
        for code, value in together.items():
            assert value[place] == pytest.approx(float(alone[code])), code


@pytest.mark.parametrize(
    ("vertical", "why"),
    [
        (False, "the cannon does not stand vertical"),
        (None, "needs to be told that the cannon stands vertical"),
    ],
)
def test_the_plumb_line_is_read_only_where_the_cannon_is_said_to_stand_vertical(vertical, why):
    measured = measure(side(cannon_vertical=vertical))
    assert measured.absent == {"plumb_to_heel_mm": why}
    assert measured.readings.keys() == SIDE_WANTED.keys() - {"plumb_to_heel_mm"}


def test_a_heel_in_front_of_the_plumb_line_reads_negative():
    points = {**SIDE_MM, "fetlock_centre": (-57.0, 170.0)}
    assert values(measure(side(points)))["plumb_to_heel_mm"] == pytest.approx(-7.0)


def test_a_lower_heel_than_pastern_line_is_broken_forward_with_a_plus():
    flat = {**SIDE_MM, "pastern_proximal": (-70.0, 150.0)}
    difference = values(measure(side(flat)))["hoof_pastern_difference_deg"]
    assert difference == pytest.approx(50.0 - 45.0)


def test_points_of_a_line_may_be_placed_in_either_order():
    exchanged = {
        **SIDE_MM,
        "wall_proximal": SIDE_MM["wall_distal"],
        "wall_distal": SIDE_MM["wall_proximal"],
    }
    found = values(measure(side(exchanged)))
    assert found["photo_wall_angle_deg"] == pytest.approx(50.0)


def test_without_a_scale_the_angles_stay():
    measured = measure(side(scale_length_mm=None))
    assert measured.readings.keys() == {code for code in SIDE_WANTED if code.endswith("_deg")}
    assert {each.scale_state for each in measured.readings.values()} == {"none"}
    assert measured.absent["plumb_to_heel_mm"].startswith("no scale: say how long")


def test_without_a_point_above_the_ground_the_reason_names_one():
    points = {name: SIDE_MM[name] for name in ("toe", "heel", "scale_a", "scale_b")}
    measured = measure(side({**points, "heel_wall_distal": (-52.0, 2.0)}))
    assert not measured.readings
    film = side({**points, "pastern_distal": SIDE_MM["pastern_distal"]})
    assert measure(film).absent["photo_wall_angle_deg"].startswith("needs wall_proximal")


def test_a_foot_the_wrong_way_round_is_refused():
    exchanged = {**SIDE_MM, "heel": SIDE_MM["toe"], "toe": SIDE_MM["heel"]}
    with pytest.raises(CoreError, match="heel_wall_proximal lies in front of wall_proximal"):
        measure(side(exchanged))


def test_what_must_stand_above_the_ground_is_refused_on_it():
    with pytest.raises(DegenerateLine) as caught:
        measure(side({**SIDE_MM, "coronet_dorsal": (10.0, 0.0)}))
    assert caught.value.at == "film.landmarks_px.coronet_dorsal"
    sunk = {**SIDE_MM, "fetlock_centre": (10.0, -5.0)}
    with pytest.raises(CoreError, match="fetlock_centre must lie above"):
        measure(side(landmarks_px=None, landmarks_mm=sunk))


def test_the_angles_of_a_photo_are_in_no_series_of_a_film():
    # Source: J Equine Vet Sci 2023;121:104195: no angle is equivalent across six methods.
    of_films = {code for code, each in MEASURES.items() if "photo" not in each.view}
    assert of_films.isdisjoint(NEEDS)
    assert {each.basis for each in measure(side()).readings.values()} == {"photo"}


def test_the_plumb_line_is_as_sure_as_the_eye_finds_the_fetlock():
    film = side(landmarks_px=None, landmarks_mm=SIDE_MM, scale=no_scale(), scale_length_mm=None)
    assert measure(film).readings["plumb_to_heel_mm"].u == pytest.approx(math.hypot(3.0, 0.5))
    own = replace(film, landmark_sds_mm={"fetlock_centre": 1.0, "heel": 0.0})
    assert measure(own).readings["plumb_to_heel_mm"].u == pytest.approx(1.0)


def test_the_shoes_heel_lies_at_the_origin():
    points = foot_points(side(turn_deg=12.0))
    assert points["heel"].tolist() == pytest.approx([0.0, 0.0])
    assert points["toe"].tolist() == pytest.approx([130.0, 0.0])
