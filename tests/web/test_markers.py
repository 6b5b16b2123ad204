"""The marker through the film's page: impossible distances, the correction, and taking it away."""

import json

import pytest

from tests.web.test_photos import SOLE, added, measured
from tests.web.yard import a_yard, landmarks_form, words_of

OFF = {"marker_plane": "tube_side", "marker_offset_mm": "65", "sid_mm": "700", "oid_mm": "80"}
NO_MARKER = {"marker_ends": "", "marker_length_mm": "", "marker_plane": ""}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def send(yard, film, **changed):
    return yard.send("vet", film, f"{film}/landmarks", landmarks_form(**changed))


@pytest.mark.parametrize(
    ("changed", "field", "says"),
    [
        ({"oid_mm": "700"}, "oid_mm", "The foot stands between tube and plate"),
        (
            {"marker_offset_mm": "200", "sid_mm": "300", "oid_mm": "150"},
            "marker_offset_mm",
            "behind",
        ),
        (
            {"marker_plane": "plate_side", "marker_offset_mm": "90"},
            "marker_offset_mm",
            "behind the tube or the plate",
        ),
        (
            {"marker_ends": json.dumps([[100, 100], [100, 100]])},
            "marker_length_mm",
            "place them apart",
        ),
    ],
)
def test_an_impossible_marker_is_refused_at_the_field_that_mends_it(yard, changed, field, says):
    film = yard.film()
    answer = send(yard, film, **{**OFF, **changed})
    assert answer.status_code == 422
    beside = answer.text.partition(f'id="{field}-fault"')[2].partition("</p>")[0]
    assert says in beside
    typed = {**OFF, **changed}
    assert f'value="{typed["sid_mm"]}"' in answer.text


def test_the_correction_of_a_marker_off_the_middle_is_shown_in_numbers(yard):
    film = yard.film()
    assert send(yard, film, **OFF).status_code == 303
    # the tube is 620 mm from the foot and 555 mm from the marker: 620 / 555 = 1.117
    assert "Put right by × 1.117:" in words_of(yard.open("vet", film))


def test_a_marker_is_taken_away_and_lengths_are_gone_with_it(yard):
    film = yard.film()
    assert send(yard, film, marker_plane="sagittal").status_code == 303
    assert "Lengths may be judged" in words_of(yard.open("vet", film))
    assert send(yard, film, scale_withdrawn="yes").status_code == 303
    page = words_of(yard.open("vet", film))
    assert "No scale: angles and ratios only." in page
    assert "Palmar angle" in page
    assert "Take away what was said of the scale" not in page


def test_a_known_length_on_a_photo_is_taken_away(yard):
    film = added(yard, "sole_photo")
    measured(yard, film, SOLE, known_length_mm="100")
    assert "No known length yet" not in words_of(yard.open("farrier", film))
    measured(yard, film, SOLE, scale_withdrawn="yes")
    assert "No known length yet" in words_of(yard.open("farrier", film))


def test_what_is_doubtful_of_a_scale_is_said_before_a_landmark_is_placed(yard):
    film = yard.film()
    answer = send(yard, film, landmarks="{}", marker_plane="unknown")
    assert answer.status_code == 303
    page = words_of(yard.open("vet", film))
    assert "plane is not known, so the scale is only estimated" in page
