"""A foot of known tilt, photographed from the front."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError
from referral.core.measure.dorsopalmar import dorsopalmar_readings
from referral.core.measure.film import measure
from referral.core.measure.front_photo import NEEDS, front_photo_readings
from tests.core.measure.feet import values
from tests.core.measure.photos import FRONT_MM, FRONT_WANTED, photo_of

POINTS = {name: np.array(each) for name, each in FRONT_MM.items()}


def front(points_mm=None, **said):
    return photo_of("front_photo", points_mm, **said)


@given(turn_deg=st.floats(-180.0, 180.0), mirrored=st.booleans())
def test_a_foot_of_known_tilt_reads_as_its_tilt_however_the_phone_was_held(turn_deg, mirrored):
    measured = measure(front(turn_deg=turn_deg, mirrored=mirrored))
    assert values(measured) == pytest.approx(FRONT_WANTED, abs=1e-6)
    assert not measured.absent
    assert NEEDS.keys() == FRONT_WANTED.keys()


@pytest.mark.parametrize("code", NEEDS)
def test_a_reading_needs_its_own_landmarks_and_no_others(code):
    found = front_photo_readings({name: POINTS[name] for name in NEEDS[code]})
    assert float(found[code]) == pytest.approx(FRONT_WANTED[code], abs=1e-9)
    for name in NEEDS[code]:
        rest = {other: POINTS[other] for other in NEEDS[code] if other != name}
        assert code not in front_photo_readings(rest)


def test_a_photo_defines_its_angles_as_a_film_does_under_codes_of_its_own():
    film, photo = dorsopalmar_readings(POINTS), front_photo_readings(POINTS)
    assert {f"photo_{code}": value for code, value in film.items()}.items() <= photo.items()
    assert film.keys().isdisjoint(photo)


def test_without_a_scale_the_angles_stay():
    measured = measure(front(scale_length_mm=None, without=("scale_a", "scale_b")))
    assert measured.readings.keys() == {code for code in FRONT_WANTED if code.endswith("_deg")}
    assert measured.absent["photo_coronet_height_medial_mm"].startswith("no scale: place scale_a")


def test_exchanged_sides_are_refused():
    swapped = {"coronet_medial": FRONT_MM["coronet_lateral"]}
    swapped["coronet_lateral"] = FRONT_MM["coronet_medial"]
    with pytest.raises(CoreError, match="coronet_medial lies in front of coronet_lateral"):
        measure(front({**FRONT_MM, **swapped}))


def test_without_ground_points_there_is_no_reading():
    measured = measure(front(without=("ground_medial", "ground_lateral")))
    assert not measured.readings
    assert measured.absent["photo_coronet_tilt_deg"] == "needs ground_medial and ground_lateral"


def test_without_a_point_above_the_ground_the_reason_names_one():
    kept = ("ground_medial", "ground_lateral", "wall_medial_distal", "scale_a", "scale_b")
    measured = measure(front({name: FRONT_MM[name] for name in kept}))
    assert set(measured.absent) == set(NEEDS)
