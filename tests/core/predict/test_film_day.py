"""The film is not the foot on the day: old films, trimmed feet, shod feet."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from referral.core.predict.film_day import film_age_days, film_doubt, length_doubt, weeks_grown
from referral.core.predict.plan import Plan
from tests.core.predict.feet import FORE, ON, PLANS, film, shod_film


def taken(days_before, **changes):
    return film(taken_on=ON - timedelta(days=days_before), **changes)


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (film(), ""),
        (shod_film(), ""),
        (film(shod="unknown"), "film_shod"),
        (film(shod="yes"), "film_shod"),
        (replace(film(), view="dorsopalmar"), "only a lateromedial film"),
        (replace(film(), landmarks_mm=None, landmarks_px={}, shod="yes"), "film_shod"),
    ],
    ids=("bare", "shod", "unknown", "unmarked", "other view", "pixels"),
)
def test_films_that_nothing_is_foretold_from(one, words):
    found = film_doubt(one)
    assert found.startswith(words)
    assert bool(found) == bool(words)


@pytest.mark.parametrize(
    ("one", "plan", "words"),
    [
        (taken(14), Plan(), ""),
        (taken(15), Plan(), "15 days older"),
        (taken(15), Plan(growth_since_film=True), ""),
        (taken(0), Plan(fit_on=ON + timedelta(days=20)), "20 days older"),
        (taken(-3), Plan(fit_on=ON), "after the day of fitting"),
        (film(trim="after"), PLANS["heel"], "would trim again"),
        (film(trim="after"), Plan(wedge_deg=2), ""),
        (film(trim="unknown"), Plan(), "not said whether the foot was trimmed"),
        (film(), Plan(fit_on=date(2030, 1, 1)), ""),
    ],
)
def test_films_whose_lengths_are_not_those_of_the_day(one, plan, words):
    found = length_doubt(one, plan, FORE)
    assert words in found
    assert bool(found) == bool(words)


def test_growth_since_the_film():
    plan = Plan(growth_since_film=True)
    assert film_age_days(taken(21), plan, FORE) == 21
    assert weeks_grown(taken(21), plan, FORE) == 3.0
    assert weeks_grown(taken(21), Plan(), FORE) == 0.0
    assert weeks_grown(taken(-5), plan, FORE) == 0.0
    assert weeks_grown(None, plan, FORE) == 0.0
