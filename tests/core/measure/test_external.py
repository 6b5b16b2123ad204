"""External guides: where they stand in, and how far from the joint they are."""

import math

import numpy as np
import pytest

from referral.core.geometry.scale import no_scale
from referral.core.measure.external import (
    GUIDES,
    NO_LATEROMEDIAL,
    NO_SOLE,
    centre_agreement,
    external_guides,
)
from referral.core.measure.film import measure, placement
from referral.core.measure.readings import Measured
from referral.core.measure.reasons import NO_LENGTH, NO_SCALE
from referral.core.measure.registry import MEASURES
from referral.core.measure.uncertainty import monte_carlo
from referral.core.measure.views import VIEWS
from tests.core.measure.feet import film_of
from tests.core.measure.photos import FEET, SIDE_WANTED, photo_of

PHOTOS = [measure(photo_of(view)) for view in FEET]


@pytest.mark.parametrize("view", FEET)
@pytest.mark.parametrize("scaled", [True, False])
def test_monte_carlo_agrees_with_the_linear_model_within_five_percent(view, scaled):
    film = photo_of(view) if scaled else photo_of(view, scale_length_mm=None)
    placed, found = placement(film), measure(film).readings

    def model(x):
        return VIEWS[view].readings(placed.points(x))

    drawn = monte_carlo(model, placed.x0, placed.u, 10_000, np.random.default_rng(12))
    assert found.keys() <= drawn.keys()
    for code, reading in found.items():
        value, u = drawn[code]
        assert value == pytest.approx(reading.value, abs=1e-9)
        assert reading.u == pytest.approx(u, rel=0.05), code


def test_without_a_film_photos_guide():
    guides = {guide.stands_for: guide.reading for guide in external_guides(Measured(), PHOTOS)}
    assert guides.keys() == GUIDES.keys()
    assert guides["dorsal_wall_angle_deg"].value == pytest.approx(
        SIDE_WANTED["photo_wall_angle_deg"]
    )
    for stands_for, reading in guides.items():
        assert reading.code == GUIDES[stands_for] != stands_for
        assert (reading.basis, reading.scale_state) == ("photo", "external")


def test_what_a_film_gives_needs_no_guide():
    film = measure(film_of())
    left = {guide.stands_for for guide in external_guides(film, PHOTOS)}
    assert left == {
        "coronet_height_medial_mm",
        "coronet_height_lateral_mm",
        "wall_angle_medial_deg",
        "wall_angle_lateral_deg",
    }
    assert external_guides(Measured(), []) == ()


def test_a_guide_has_the_unit_of_what_it_stands_for():
    for stands_for, code in GUIDES.items():
        assert MEASURES[stands_for].unit == MEASURES[code].unit
        assert "photo" not in MEASURES[stands_for].view
        assert MEASURES[code].view in FEET


class TestCentreAgreement:
    def test_it_is_the_distance_between_the_widest_part_and_the_joints_centre(self):
        # Joint's centre 53 mm in front of the heels on the film, widest part 66 on the photo.
        film, sole = measure(film_of()), PHOTOS[0]
        found = centre_agreement(film, sole).readings["centre_agreement_mm"]
        assert found.value == pytest.approx(66.0 - 53.0)
        parts = film.readings["heel_arm_mm"], sole.readings["heel_to_widest_mm"]
        assert found.u == pytest.approx(math.hypot(*(part.u for part in parts)))
        assert (found.unit, found.basis, found.scale_state) == ("mm", "photo", "external")

    @pytest.mark.parametrize(
        ("film", "photo", "why"),
        [
            (Measured(), Measured(), NO_SOLE),
            (Measured(), measure(photo_of("sole_photo", scale_length_mm=None)), NO_LENGTH),
            (Measured(), PHOTOS[0], NO_LATEROMEDIAL),
            (
                measure(film_of(without=("heel",))),
                PHOTOS[0],
                f"{NO_LATEROMEDIAL}: needs heel",
            ),
            (
                measure(film_of(scale=no_scale())),
                PHOTOS[0],
                f"{NO_LATEROMEDIAL}: {NO_SCALE}",
            ),
        ],
    )
    def test_where_either_is_lacking_it_is_absent_with_the_reason(self, film, photo, why):
        found = centre_agreement(film, photo)
        assert not found.readings
        assert found.absent == {"centre_agreement_mm": why}
