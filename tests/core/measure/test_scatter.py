"""A person's own scatter, from what they placed again."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError, NotFinite
from referral.core.measure.film import measure
from referral.core.measure.scatter import Repeats, Scatter, own_scatter, own_sds_mm
from tests.core.measure.feet import film_of, foot_frame_film


def repeats(sd_px, count, rng, spacing=(0.1, 0.2), centre=(500.0, 400.0)):
    places = rng.normal(centre, sd_px, (count, 2))
    return Repeats([{"toe": place} for place in places], *spacing)


def test_two_pictures_pool_their_squares_over_their_degrees_of_freedom():
    # Pooled by hand: deviations 1, 0, 1 in x and 0 in y; then 1, 1 in x and 2, 2 in y, in mm.
    first = Repeats([{"toe": [x, 5.0]} for x in (10.0, 20.0, 30.0)], 0.1, 0.1)
    second = Repeats([{"toe": [0.0, 0.0]}, {"toe": [20.0, 40.0]}], 0.1, 0.1)
    found = own_scatter([first, second])["toe"]
    assert found.sd_mm == pytest.approx(math.sqrt((2.0 + 2.0 + 8.0) / (2 * 2 + 2 * 1)))
    assert (found.placements, found.pictures, found.degrees_of_freedom) == (5, 2, 6)


def test_the_spread_that_was_drawn_comes_back():
    # The relative spread of an SD from f degrees of freedom is 1 / sqrt(2 f): 0.5 % here.
    rng = np.random.default_rng(8)
    pictures = [
        repeats((2.0, 4.0), 10, rng, centre=rng.uniform(100.0, 900.0, 2)) for _ in range(1200)
    ]
    assert own_scatter(pictures)["toe"].sd_mm == pytest.approx(0.4, rel=0.02)


@given(
    shift=st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)),
    factor=st.floats(0.1, 10.0),
)
def test_where_the_landmark_lies_does_not_matter_and_how_large_a_pixel_is_does(shift, factor):
    places = np.array([[3.0, 4.0], [5.0, 4.0], [4.0, 7.0], [4.5, 5.0]])
    one = own_scatter([Repeats([{"toe": each} for each in places], 0.1, 0.1)])["toe"]
    moved = [{"toe": each + shift} for each in places]
    other = own_scatter([Repeats(moved, 0.1 * factor, 0.1 * factor)])["toe"]
    assert other.sd_mm == pytest.approx(factor * one.sd_mm, rel=1e-6)


def test_what_was_placed_once_or_as_a_row_says_nothing():
    times = [
        {"toe": [1.0, 2.0], "heel": [5.0, 5.0], "p2_condyle": [[1, 2], [3, 4], [5, 9]]},
        {"toe": [1.0, 4.0], "p2_condyle": [[1, 2], [3, 4], [5, 8]]},
    ]
    assert own_scatter([Repeats(times, 0.1, 0.1)]).keys() == {"toe"}
    assert own_scatter([]) == {}


def test_two_placements_are_too_few_and_three_are_enough():
    assert not Scatter(0.3, 2, 1).is_enough
    assert Scatter(0.3, 3, 1).is_enough
    assert Scatter(0.3, 4, 2).is_enough
    scatter = {"toe": Scatter(0.02, 3, 1), "heel": Scatter(0.3, 2, 1), "p3_tip": Scatter(30, 9, 1)}
    assert own_sds_mm(scatter) == {"toe": 0.1, "p3_tip": 20.0}


def test_own_scatter_takes_the_place_of_the_usual_one():
    usual = measure(foot_frame_film()).readings
    own = measure(foot_frame_film(landmark_sds_mm={"hairline": 0.8, "p3_tip": 1.2})).readings
    assert own["tip_to_ground_mm"].u == pytest.approx(1.2)
    assert own["founder_distance_mm"].u == pytest.approx(math.hypot(0.8, 1.5))
    assert own["heel_angle_deg"].u == usual["heel_angle_deg"].u
    assert own["founder_distance_mm"].value == usual["founder_distance_mm"].value


def test_own_scatter_comes_before_the_sd_stated_for_a_film():
    film = foot_frame_film(landmark_sd_mm=0.5, sd_given=True, landmark_sds_mm={"p3_tip": 1.0})
    assert measure(film).readings["tip_to_ground_mm"].u == pytest.approx(1.0)


@pytest.mark.parametrize("sd", [-0.1, 20.5, math.nan])
def test_an_sd_that_nobody_has_is_refused_where_it_stands(sd):
    with pytest.raises(CoreError, match="landmark SD") as caught:
        measure(film_of(landmark_sds_mm={"toe": sd}))
    assert caught.value.at == "film.landmark_sds_mm.toe"


@pytest.mark.parametrize(
    ("picture", "error", "at"),
    [
        (Repeats([], 0.0, 0.1), CoreError, "pictures[0].row_mm"),
        (Repeats([], 0.1, math.inf), CoreError, "pictures[0].row_mm"),
        (
            Repeats([{"toe": [1, 2]}, {"toe": [1, math.nan]}], 0.1, 0.1),
            NotFinite,
            "pictures[0].placements_px[1].toe",
        ),
        (
            Repeats([{"toe": [[1, 2], [3, 4]]}], 0.1, 0.1),
            CoreError,
            "pictures[0].placements_px[0].toe",
        ),
    ],
)
def test_placements_that_cannot_be_compared_are_refused(picture, error, at):
    with pytest.raises(error) as caught:
        own_scatter([picture])
    assert caught.value.at == at
