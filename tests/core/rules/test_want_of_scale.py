"""A length that is absent for want of a scale says so, not that the reading is missing."""

from dataclasses import replace
from datetime import date

import pytest

from referral.core.geometry.scale import no_scale
from referral.core.measure.film import Film
from referral.core.measure.readings import Measured, Profile
from referral.core.rules.inputs import Inputs
from referral.core.rules.quantities import find_quantity

FORE = Profile("LF", "adult_horse", date(2026, 11, 25))


@pytest.mark.parametrize(
    ("why", "conflict", "reason", "detail"),
    [
        ("no scale: place a marker on the film", False, "no_scale", "place a marker on the film"),
        ("needs a scale", False, "no_scale", ""),
        ("no scale: the sources contradict each other", True, "scale_conflict", ""),
        ("needs p3_tip", True, "missing_reading", "needs p3_tip"),
    ],
)
def test_the_reason_is_the_scale(why, conflict, reason, detail):
    scale = replace(no_scale(), conflict=conflict)
    film = Film("lateromedial", None, {"p3_tip": [0, 15]}, scale, None)
    stages = {"now": Measured(absent={"tip_to_ground_mm": why})}
    found = find_quantity(Inputs(FORE, stages, film=film), "tip_to_ground_mm", "now")
    assert (found.reason, found.detail, found.value) == (reason, detail, None)


def test_without_a_film_there_is_no_conflict():
    stages = {"now": Measured(absent={"tip_to_ground_mm": "needs a scale"})}
    found = find_quantity(Inputs(FORE, stages), "tip_to_ground_mm", "now")
    assert found.reason == "no_scale"
