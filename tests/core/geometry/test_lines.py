"""Angles between lines: wrapped, undirected, averaged on vectors."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError, DegenerateLine, NotFinite
from referral.core.geometry.lines import (
    angle_between_deg,
    difference_deg,
    height_over_line,
    mean_deg,
    normal,
    reach_to_line,
    slope_deg,
    undirected_deg,
)
from referral.core.geometry.points import are_apart, as_points, distance

COORDINATES = st.floats(-300.0, 300.0, allow_nan=False)
ANY_POINT = st.tuples(COORDINATES, COORDINATES).map(np.array)
ANGLES = st.floats(-720.0, 720.0, allow_nan=False)


def test_two_directions_near_the_half_turn_differ_by_the_short_way_round():
    first, second = np.array([-100.0, 1.0]), np.array([-100.0, -1.0])
    assert float(angle_between_deg(first, second)) == pytest.approx(1.146, abs=5e-4)
    assert float(difference_deg(-179.0, 179.0)) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("first", "second", "wanted"),
    [(180.0, 0.0, 180.0), (-180.0, 0.0, 180.0), (540.0, 0.0, 180.0), (10.0, 350.0, 20.0)],
)
def test_differences_lie_above_minus_180_and_up_to_180(first, second, wanted):
    assert float(difference_deg(first, second)) == wanted


@given(ANGLES, ANGLES)
def test_a_difference_is_a_whole_number_of_turns_from_the_subtraction(first, second):
    wrapped = float(difference_deg(first, second))
    turns = (first - second - wrapped) / 360.0
    assert -180.0 < wrapped <= 180.0
    assert turns == pytest.approx(round(turns), abs=1e-9)


def test_the_mean_of_two_directions_near_the_half_turn_is_the_half_turn():
    assert float(mean_deg([179.0, -179.0])) == pytest.approx(180.0)
    assert float(mean_deg([-180.0, -180.0])) == 180.0


def test_opposite_directions_have_no_mean():
    with pytest.raises(DegenerateLine, match="cancel"):
        mean_deg([0.0, 180.0])


def test_a_line_has_one_angle_whichever_end_was_placed_first():
    # y down in the picture, so the sign of y is turned to have y up.
    a, b = np.array([100.0, -100.0]), np.array([300.0, -150.0])
    assert float(undirected_deg(a, b)) == pytest.approx(14.036, abs=5e-4)
    assert float(undirected_deg(b, a)) == pytest.approx(14.036, abs=5e-4)
    assert float(undirected_deg(np.array([1e-20, 1.0]), np.array([1.0, 1.0]))) == 0.0


@given(ANY_POINT, ANY_POINT)
def test_an_undirected_angle_is_below_a_half_turn_and_ignores_the_order(a, b):
    if not are_apart(a, b):
        return
    one, other = float(undirected_deg(a, b)), float(undirected_deg(b, a))
    assert 0.0 <= one < 180.0
    assert abs(math.remainder(one - other, 180.0)) < 1e-6


def test_a_slope_that_rounds_up_to_the_half_turn_reads_zero():
    a, b = np.array([0.0, -1e-17]), np.array([5.0, 0.0])
    assert float(undirected_deg(a, b)) == 0.0


def test_the_backward_horizontal_reads_180_not_minus_180():
    assert float(slope_deg(np.array([5.0, -0.0]), np.array([0.0, 0.0]))) == 180.0
    assert float(slope_deg(np.array([5.0, 0.0]), np.array([0.0, 0.0]))) == 180.0


@pytest.mark.parametrize("call", [slope_deg, undirected_deg, normal])
def test_one_spot_makes_no_line(call):
    with pytest.raises(DegenerateLine, match="one spot"):
        call(np.array([3.0, 4.0]), np.array([3.0, 4.0]))


@pytest.mark.parametrize(
    "pair", [(np.zeros(2), np.ones(2)), (np.ones(2), np.zeros(2))], ids=["first", "second"]
)
def test_a_direction_without_length_makes_no_angle(pair):
    with pytest.raises(DegenerateLine):
        angle_between_deg(*pair)


def test_heights_are_positive_on_the_left_of_the_line():
    line = np.array([0.0, 0.0]), np.array([3.0, 4.0])
    assert float(height_over_line(np.array([-4.0, 3.0]), *line)) == pytest.approx(5.0)
    assert float(height_over_line(np.array([4.0, -3.0]), *line)) == pytest.approx(-5.0)


def test_a_line_that_runs_along_is_never_reached():
    reach = reach_to_line(
        np.zeros(2), np.array([1.0, 0.0]), np.array([0.0, 2.0]), np.array([9.0, 2.0])
    )
    assert not np.isfinite(reach)


@given(st.lists(st.tuples(ANY_POINT, ANY_POINT), min_size=1, max_size=5))
def test_many_lines_at_once_read_as_one_by_one(pairs):
    pairs = [pair for pair in pairs if are_apart(*pair)]
    if not pairs:
        return
    a, b = (np.stack(side) for side in zip(*pairs, strict=True))
    for call in (slope_deg, undirected_deg, distance):
        np.testing.assert_array_equal(call(a, b), [call(*pair) for pair in pairs])


@pytest.mark.parametrize("raw", [5.0, [1.0], [1.0, 2.0, 3.0], "x", None, [[1.0, 2.0], [3.0]]])
def test_what_is_not_a_pair_of_numbers_is_no_point(raw):
    with pytest.raises(CoreError, match=r"two numbers, \[x, y\]") as caught:
        as_points(raw, at="film.landmarks_px.toe")
    assert caught.value.at == "film.landmarks_px.toe"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_point_must_be_finite(bad):
    with pytest.raises(NotFinite):
        as_points([1.0, bad])


def test_a_point_is_never_rounded():
    assert as_points([10.2, 110.9]).tolist() == [10.2, 110.9]
