"""Each view answers for itself: a later picture of another view hides no film from a plan."""

import json

import pytest
from sqlalchemy import select

from referral.plans.models import FindingRow, JudgementRow
from tests.web.test_photos import FRONT_FILM, MARKER, added, measured
from tests.web.yard import TODAY, a_yard, film_form, landmarks_form


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def filmed_first(yard, taken_on="2026-11-20"):
    film = yard.done("vet", "/films/new", "/films", film_form(taken_on=taken_on))
    film = film.removeprefix(yard.home)
    yard.done("vet", film, f"{film}/landmarks", landmarks_form())


def refer(yard):
    problem = {"limb": "LF", "condition": "other", "certainty": "confirmed", "words": "Footsore"}
    yard.done("vet", "/problems/new", "/problems", problem)
    yard.limit(measure="p3_tilt_deg", stage="now", at_most="2")
    goals = {"limbs": "LF", "urgency": "routine", "goals": "Level"}
    yard.done("vet", "/referrals/new", "/referrals", goals)
    yard.done("farrier", "", "/acknowledgements", {})


def basis_of(yard):
    with yard.database.reading() as session:
        return json.loads(session.scalars(select(JudgementRow.basis)).one())["inputs"]


def verdict_on(yard, measure, stage):
    with yard.database.reading() as session:
        return session.scalars(
            select(FindingRow.verdict).where(
                FindingRow.measure == measure,
                FindingRow.stage == stage,
                FindingRow.limit_from == "case",
            )
        ).one()


def test_later_pictures_of_other_views_hide_no_film_and_are_judged_beside_it(yard):
    filmed_first(yard)
    front = added(yard, "dorsopalmar", who="vet", taken_on="2026-11-22")
    measured(yard, front, FRONT_FILM, "vet", marker_ends=MARKER, marker_length_mm="60")
    added(yard, "sole_photo", taken_on=TODAY)  # nothing is read on it
    refer(yard)
    yard.submit()
    inputs = basis_of(yard)["readings"]["LF"]
    assert inputs["film"]["taken_on"] == "2026-11-20"
    tilt = {code: value for code, value, _u in inputs["front"]}["p3_tilt_deg"]
    # margins 1200 px apart, the lateral one 40 px higher: atan(40 / 1200) = 1.91 degrees
    assert tilt == pytest.approx(1.909, abs=0.001)
    assert verdict_on(yard, "p3_tilt_deg", "now") in ("WITHIN", "TOO_CLOSE")


def test_a_film_that_is_not_measured_yet_hides_no_film_that_is(yard):
    filmed_first(yard)
    added(yard, "lateromedial", who="vet", taken_on=TODAY)
    refer(yard)
    yard.submit()
    assert basis_of(yard)["readings"]["LF"]["film"]["taken_on"] == "2026-11-20"
