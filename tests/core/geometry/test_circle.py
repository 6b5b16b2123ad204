"""The circle through the condyle's points."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import DegenerateCircle
from referral.core.geometry.circle import arc_deg, fit_circle


def on_circle(centre, radius, degrees):
    turns = np.radians(degrees)
    return np.stack(
        [centre[0] + radius * np.cos(turns), centre[1] + radius * np.sin(turns)], axis=-1
    )


@given(
    st.tuples(st.floats(-200, 200), st.floats(-200, 200)),
    st.floats(5.0, 60.0),
    st.floats(0.0, 360.0),
    st.floats(60.0, 300.0),
    st.integers(3, 9),
)
def test_points_on_a_circle_give_its_centre_back(centre, radius, start, arc, count):
    points = on_circle(centre, radius, np.linspace(start, start + arc, count))
    circle = fit_circle(points)
    assert circle.centre == pytest.approx(centre, abs=1e-6)
    assert float(circle.radius) == pytest.approx(radius, abs=1e-6)
    assert float(circle.residual) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_no_circle_nearby_comes_closer_to_the_points(seed):
    rng = np.random.default_rng(seed)
    points = on_circle((-52.0, 62.0), 20.0, np.linspace(200, 330, 6)) + rng.normal(0, 0.8, (6, 2))
    circle = fit_circle(points)

    def square_sum(x, y, radius):
        return float(((np.hypot(points[:, 0] - x, points[:, 1] - y) - radius) ** 2).sum())

    x, y = circle.centre
    best = square_sum(x, y, circle.radius)
    assert best == pytest.approx(6 * float(circle.residual) ** 2)
    for dx, dy, dr in rng.normal(0.0, 0.01, (200, 3)):
        assert square_sum(x + dx, y + dy, circle.radius + dr) >= best


def test_an_algebraic_fit_that_needs_no_step_is_kept():
    square = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
    circle = fit_circle(square)
    assert circle.centre.tolist() == [0.0, 0.0]
    assert float(circle.radius) == pytest.approx(math.sqrt(2.0))


@pytest.mark.parametrize(
    "points",
    [
        [[0.0, 0.0], [1.0, 1.0]],
        [[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]],
        [[5.0, 5.0], [5.0, 5.0], [5.0, 5.0]],
        [[0.1, 0.3], [0.2, 0.6], [0.4, 1.2], [0.7, 2.1]],
    ],
    ids=["two points", "a straight line", "one spot", "a line with rounding"],
)
def test_points_that_make_no_circle_are_refused(points):
    with pytest.raises(DegenerateCircle):
        fit_circle(np.array(points))


def test_many_circles_at_once_fit_as_one_by_one():
    rng = np.random.default_rng(7)
    points = on_circle((0.0, 0.0), 20.0, np.linspace(190, 350, 5)) + rng.normal(0, 0.5, (8, 5, 2))
    together = fit_circle(points)
    for index, each in enumerate(points):
        alone = fit_circle(each)
        np.testing.assert_allclose(together.centre[index], alone.centre, rtol=0, atol=1e-6)
        assert together.residual[index] == pytest.approx(float(alone.residual), abs=1e-6)


@pytest.mark.parametrize(
    ("degrees", "wanted"),
    [([0, 45, 90], 90.0), ([350, 10, 20], 30.0), ([200, 280, 340, 300], 140.0)],
)
def test_the_arc_is_the_turn_less_the_widest_gap(degrees, wanted):
    arc = arc_deg(on_circle((3.0, 4.0), 10.0, degrees), np.array([3.0, 4.0]))
    assert float(arc) == pytest.approx(wanted)
