"""An assessment through its pages: what was seen and measured on the foot, beside the film."""

import pytest

from tests.web.yard import TODAY, a_yard, film_form, words_of

SEEN = {
    "limb": "LF",
    "seen_on": TODAY,
    "landing": "toe_first",
    "conformation": ["toe_out", "sloping"],
    "found": ["wall_separated"],
    "photo_wall_angle_deg": "49",
    "plumb_to_heel_mm": "-12,5",
    "words": "Stumbles on the turn.",
}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def assess(yard, who="farrier", **changed):
    return yard.done(who, "/assessments/new", "/assessments", {**SEEN, **changed})


def test_what_the_farrier_saw_stands_beside_what_the_film_says(yard):
    film = yard.film()
    yard.measure(film)
    page = words_of(yard.open("vet", assess(yard).removeprefix(yard.home)))
    assert "Lands Toe first" in page
    assert "Limb Toe out, Sloping pastern" in page
    assert "Found Wall parted at the white line" in page
    assert "Stumbles on the turn." in page
    # stated without u: 0.72, so U = 1.44 (the smallest change that counts is then 2)
    assert "Dorsal wall angle, by gauge 49.0 ± 1.4° Dorsal wall angle " in page
    assert (
        "Fetlock plumb line to the heel of the bare foot (+ heel behind) −12.5 ± 1.4 mm –" in page
    )


def test_photos_of_the_limb_and_day_are_shown_with_it(yard):
    for limb in ("LF", "RF"):
        answer = yard.send(
            "farrier", "/films/new", "/films", film_form(limb=limb, view="sole_photo")
        )
        assert answer.status_code == 303
    page = yard.open("farrier", assess(yard).removeprefix(yard.home)).text
    assert page.count('class="film-small"') == 1


def test_the_timeline_says_that_a_foot_was_assessed_and_the_case_lists_it(yard):
    made = assess(yard)
    page = yard.open("owner")
    assert "observed: assessment" in words_of(page)
    assert made in page.text


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"landing": "sideways"}, "Must be one of"),
        ({"photo_wall_angle_deg": "1,234"}, "which is it?"),
        ({"photo_wall_angle_deg": "400"}, "Between"),
        ({"seen_on": "2031-01-01"}, "This day has not come yet."),
        ({"limb": ""}, "Please fill this in."),
        ({"found": ["nothing", "crack"]}, "Untick that there is nothing, or the rest."),
        ({"distortion": ["none", "dished"]}, "Untick that there is nothing, or the rest."),
    ],
)
def test_a_fault_is_said_beside_its_field_and_nothing_typed_is_lost(yard, changed, says):
    before = yard.rows()
    answer = yard.send("farrier", "/assessments/new", "/assessments", {**SEEN, **changed})
    assert answer.status_code == 422
    assert says in words_of(answer)
    assert "Stumbles on the turn." in answer.text
    assert yard.rows() == before


def test_an_empty_assessment_is_none(yard):
    before = yard.rows()
    blank = {"limb": "LF", "seen_on": TODAY}
    answer = yard.send("farrier", "/assessments/new", "/assessments", blank)
    assert answer.status_code == 422
    assert "Answer at least one question." in words_of(answer)
    assert yard.rows() == before


def test_strangers_see_none(yard):
    made = assess(yard).removeprefix(yard.home)
    assert yard.open("other_farrier", made).status_code == 404
    assert yard.open("other_farrier", "/assessments/new").status_code == 404
    assert yard.open("owner", made).status_code == 200
    assert yard.open("owner", "/assessments/new").status_code == 403
