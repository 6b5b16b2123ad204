"""Guides on their photo's own page and on the case page, through the web."""

import pytest

from tests.web.test_photos import SIDE, SOLE, added, measured
from tests.web.yard import a_yard, words_of


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def test_a_photos_own_page_says_what_it_guides_to_and_when(yard):
    photo = added(yard, "side_photo", cannon_vertical="yes", taken_on="2026-11-20")
    page = measured(yard, photo, SIDE, known_length_mm="100")
    assert "Guides from outside" in page
    assert "on 20 Nov 2026, a guide to the dorsal wall angle; no film gives it" in page


def test_guides_of_two_visits_are_named_as_such_on_the_case_page(yard):
    side = added(yard, "side_photo", cannon_vertical="yes", taken_on="2026-11-20")
    measured(yard, side, SIDE, known_length_mm="100")
    measured(yard, added(yard, "sole_photo"), SOLE, known_length_mm="100")
    case = words_of(yard.open("farrier"))
    assert "These guides are of different days (20 Nov 2026 and 25 Nov 2026)" in case
    assert "different days" not in words_of(yard.open("farrier", side))


def test_a_sole_photo_says_on_its_page_how_far_it_is_from_the_joint(yard):
    yard.measure(added(yard, "lateromedial", who="vet"))
    page = measured(yard, added(yard, "sole_photo"), SOLE, known_length_mm="100")
    assert "On 25 Nov 2026 the widest part of the foot lies" in page
    assert "the centre of the coffin joint" in page


def test_a_sole_photo_of_a_trimmed_foot_is_not_held_against_a_film_of_before(yard):
    yard.measure(added(yard, "lateromedial", who="vet"))
    photo = added(yard, "sole_photo", trim="after")
    page = measured(yard, photo, SOLE, known_length_mm="100")
    why = "is not held against the film: one is of before the trim and the other of after it"
    assert why in page
    assert why in words_of(yard.open("owner"))
