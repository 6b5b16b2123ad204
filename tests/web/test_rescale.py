"""A film's scale set anew: what rested on it is judged again, and says so; put back, it holds."""

import json

import pytest

from tests.web.yard import PLAN, a_yard, landmarks_form, words_of

STALE = "Judged on other ground"


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def refer_with_a_film(yard):
    film = yard.film()
    yard.measure(film)
    problem = {"limb": "LF", "condition": "under_run_heels", "certainty": "confirmed"}
    yard.done("vet", "/problems/new", "/problems", problem)
    yard.limit(measure="breakover_distance_mm", at_most="40")
    goals = {"limbs": "LF", "urgency": "routine", "goals": "Breakover back"}
    yard.done("vet", "/referrals/new", "/referrals", goals)
    yard.done("farrier", "", "/acknowledgements", {})
    return film


def plan_page(yard):
    return words_of(yard.open("vet", "/plans/1"))


def keep(yard, clock, film, **changed):
    clock.move(minutes=1)
    yard.done("vet", film, f"{film}/landmarks", landmarks_form(**changed))


def moved(landmarks):
    return json.dumps({**landmarks, "p3_tip": [landmarks["p3_tip"][0] + 1, landmarks["p3_tip"][1]]})


def test_a_longer_marker_makes_the_plan_stale_and_the_same_again_makes_it_hold(yard, clock):
    film = refer_with_a_film(yard)
    yard.submit(**PLAN)
    assert STALE not in plan_page(yard)
    keep(yard, clock, film, marker_length_mm="72")  # 60 mm became 72: every length grows by a fifth
    page = plan_page(yard)
    assert STALE in page
    assert "Agree, and look at the sheet to sign" not in page
    keep(yard, clock, film)
    assert STALE not in plan_page(yard)
    assert "Agree, and look at the sheet to sign" in plan_page(yard)


def test_a_landmark_moved_by_a_pixel_makes_it_stale(yard, clock):
    film = refer_with_a_film(yard)
    yard.submit(**PLAN)
    landmarks = json.loads(landmarks_form()["landmarks"])
    keep(yard, clock, film, landmarks=moved(landmarks))
    assert STALE in plan_page(yard)
    keep(yard, clock, film)
    assert STALE not in plan_page(yard)


def test_words_about_the_case_change_nothing(yard, clock):
    refer_with_a_film(yard)
    yard.submit(**PLAN)
    clock.move(minutes=1)
    seen = {"about": "wear", "words": "Worn at the toe"}
    yard.done("farrier", "/observations/new", "/observations", seen)
    yard.done(
        "farrier", "/notes/calls/new", "/notes/calls", {"with_whom": "vet", "words": "So be it"}
    )
    assert STALE not in plan_page(yard)


def test_what_is_judged_again_is_judged_on_the_new_scale(yard, clock):
    film = refer_with_a_film(yard)
    yard.submit(**PLAN)
    before = words_of(yard.open("vet", film))
    assert "60 mm" not in before
    keep(yard, clock, film, marker_length_mm="72")
    old = breakover(plan_page(yard))
    clock.move(minutes=1)
    yard.done("vet", "/plans/1", "/plans/1/judgements", {})
    assert STALE not in plan_page(yard)
    # breakover before the tip on the film is a length: it grows by 72 / 60, the setback does not
    assert breakover(plan_page(yard)) == pytest.approx((old + 20) * 1.2 - 20, abs=1.0)


def breakover(page):
    said = page.partition("Breakover distance ")[2].split()
    numbers = [each for each in said[:12] if each.replace("−", "").replace(".", "").isdigit()]
    return float(numbers[2].replace("−", "-"))
