"""Landmarks placed again: one's own scatter, and the ± that comes of it."""

import json
import math
import re

import pytest

from tests.browser.sample import FOOT_PX
from tests.web.yard import a_yard, landmarks_form, words_of

# 60 mm over 700 px
MM_A_PX = 60 / 700


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def again(yard, film, places, who="vet", **changed):
    form = {"landmarks": json.dumps(places), "natural_width": "2400", "natural_height": "1920"}
    return yard.send(who, f"{film}/repeats", f"{film}/repeats", {**form, **changed})


def placed_three_times(yard, film):
    """Place two landmarks three times: (0, 0), (40, 0), (20, 30) px from where they are."""
    for dx, dy in ((0, 0), (40, 0), (20, 30)):
        places = {
            name: [FOOT_PX[name][0] + dx, FOOT_PX[name][1] + dy]
            for name in ("p3_tip", "p3_palmar_process")
        }
        assert again(yard, film, places).status_code == 303


def expected_sd_mm():
    """Pooled SD of the three places above. Source: JCGM 100:2008, 4.2.4.

    Mean (20, 10); squares (400 + 100) + (400 + 100) + (0 + 400) = 1400 px^2 over 2 x (3 - 1) = 4
    degrees of freedom: sqrt(350) = 18.71 px.
    """
    return math.sqrt(1400 / 4) * MM_A_PX


def test_three_times_on_one_picture_give_an_sd_that_is_used_from_then_on(yard, clock):
    film = yard.film()
    yard.measure(film)
    before = u_of_palmar_angle(yard, film)
    placed_three_times(yard, film)
    page = words_of(yard.open("vet", f"{film}/repeats"))
    assert "You have placed this picture again 3 times." in page
    table = words_of(yard.browser("vet").get("/scatter"))
    assert f"P3 tip {expected_sd_mm():.2f}" in table
    assert "3 1 Yes" in table
    assert u_of_palmar_angle(yard, film) == before  # what is kept does not change
    clock.move(minutes=1)
    yard.done("vet", film, f"{film}/landmarks", landmarks_form())
    assert "from the own scatter of who placed them" in words_of(yard.open("vet", film))
    # First order: u = SD x sqrt(1 + 1) over the length between the two points, in degrees.
    long_mm = math.hypot(750, 90) * MM_A_PX
    u = math.degrees(expected_sd_mm() * math.sqrt(2) / long_mm)
    assert u_of_palmar_angle(yard, film) == pytest.approx(2 * u, abs=0.15)


def u_of_palmar_angle(yard, film):
    page = words_of(yard.open("farrier", film))
    return float(re.search(r"Palmar angle [\d.]+ ± ([\d.]+)°", page)[1])


def test_the_page_does_not_show_where_they_were(yard):
    film = yard.film()
    yard.measure(film)
    page = yard.open("vet", f"{film}/repeats").text
    assert 'name="landmarks" value="{}"' in page
    assert str(FOOT_PX["p3_tip"][0]) not in page


def test_a_picture_without_scale_cannot_count_and_says_so(yard):
    film = yard.film()
    assert "has no scale yet" in words_of(yard.open("vet", f"{film}/repeats"))
    before = yard.rows()
    form = {"landmarks": json.dumps({"p3_tip": [900, 900]})}
    answer = yard.browser("vet").post(f"{yard.home}{film}/repeats", form)
    assert answer.status_code == 422
    assert yard.rows() == before


def test_one_form_is_one_repeat_and_nothing_else_changes(yard):
    film = yard.film()
    yard.measure(film)
    before = yard.rows()
    form = {"landmarks": json.dumps({"p3_tip": [1900, 1790]}), "idempotency_key": "one"}
    for _ in range(2):
        assert yard.browser("vet").post(f"{yard.home}{film}/repeats", form).status_code == 303
    assert yard.rows() == before | {"repeat_placement": 1}


@pytest.mark.parametrize(
    "places", ["{}", '{"nose": [1, 2]}', '{"p2_condyle": [[1, 2], [3, 4]]}', "no JSON"]
)
def test_what_cannot_count_is_refused(yard, places):
    film = yard.film()
    yard.measure(film)
    before = yard.rows()
    form = {"landmarks": places}
    assert yard.browser("vet").post(f"{yard.home}{film}/repeats", form).status_code == 422
    assert yard.rows() == before


def test_scatter_is_ones_own(yard):
    film = yard.film()
    yard.measure(film)
    placed_three_times(yard, film)
    assert "Nothing is placed again yet" in words_of(yard.browser("farrier").get("/scatter"))
    assert yard.open("farrier", f"{film}/repeats").status_code == 403
    assert yard.open("other_vet", f"{film}/repeats").status_code == 404
