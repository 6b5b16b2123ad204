"""Standard uncertainty: against the closed form, against Monte Carlo, against the Guide."""

import math

import numpy as np
import pytest

from referral.core.geometry.scale import marker_scale
from referral.core.measure.film import OBLIQUE_U, measure, placement
from referral.core.measure.lateromedial import lateromedial_readings
from referral.core.measure.uncertainty import first_order, monte_carlo
from tests.core.measure.feet import COLUMN_MM, ROW_MM, film_of, foot_frame_film


def test_the_power_of_the_guides_worked_law_is_propagated():
    # Source: JCGM 100:2008, 5.1.6: Y = c X1^p1 X2^p2 has (u/y)^2 = sum of (p_i u_i / x_i)^2.
    def model(x):
        return {"y_mm": 3.0 * x[..., 0] ** 2 / x[..., 1]}

    value, u = first_order(model, np.array([4.0, 5.0]), np.array([0.04, 0.1]))["y_mm"]
    assert value == pytest.approx(9.6)
    assert u / value == pytest.approx(math.hypot(2 * 0.01, 0.02), rel=1e-6)


def test_what_is_exact_adds_nothing():
    found = first_order(
        lambda x: {"a_mm": x[..., 0], "b_mm": x[..., 1]}, np.array([1.0, 2.0]), np.array([0.0, 0.3])
    )
    assert found == {"a_mm": (1.0, 0.0), "b_mm": (2.0, pytest.approx(0.3))}


def test_an_output_that_does_not_depend_on_the_inputs_is_kept():
    model = {"a_mm": np.float64(7.0)}
    x0, u, rng = np.array([1.0]), np.array([0.1]), np.random.default_rng(0)
    assert first_order(lambda _: model, x0, u) == {"a_mm": (7.0, 0.0)}
    assert monte_carlo(lambda _: model, x0, u, 10, rng) == {"a_mm": (7.0, 0.0)}


def test_a_direction_next_to_the_half_turn_has_no_false_jump():
    def model(x):
        return {"turn_deg": np.where(x[..., 0] > 180.0, x[..., 0] - 360.0, x[..., 0])}

    x0, u = np.array([180.0]), np.array([2.0])
    assert first_order(model, x0, u)["turn_deg"] == (180.0, pytest.approx(2.0))
    rng = np.random.default_rng(5)
    assert monte_carlo(model, x0, u, 10_000, rng)["turn_deg"][1] == pytest.approx(2.0, rel=0.05)


def test_an_angle_is_as_sure_as_its_line_is_long():
    # Two ends, each with SD s square to a line of length L: u = sqrt(2) s / L, in radians.
    reading = measure(foot_frame_film()).readings["palmar_angle_deg"]
    length = math.hypot(71.726, 6.275)
    assert reading.u == pytest.approx(math.degrees(math.sqrt(2.0) * 0.5 / length), rel=1e-4)


def test_a_height_and_a_length_have_the_closed_form():
    found = measure(foot_frame_film()).readings
    assert found["tip_to_ground_mm"].u == pytest.approx(0.5, rel=1e-6)
    assert found["sole_depth_tip_mm"].u == pytest.approx(0.5 * math.sqrt(2.0), rel=1e-6)
    # Hairline and extensor process are placed less surely.
    assert found["founder_distance_mm"].u == pytest.approx(1.5 * math.sqrt(2.0), rel=1e-6)


def test_a_scale_makes_lengths_less_sure_and_leaves_angles_alone():
    rod_px = np.array([[100.0, 100.0], [100.0, 700.0]])
    scale = marker_scale(rod_px, 60.0, pixel_aspect=(ROW_MM, COLUMN_MM))
    exact, doubtful = foot_frame_film(), film_of(scale=scale)
    relative = math.sqrt(2.0) * 0.5 / 60.0
    without, found = measure(exact).readings, measure(doubtful).readings
    length = found["palmar_cortex_length_mm"]
    wanted = math.hypot(without["palmar_cortex_length_mm"].u, relative * length.value)
    assert length.u == pytest.approx(wanted, rel=1e-3)
    for code in ("capsular_rotation_deg", "wall_to_cortex_ratio"):
        assert found[code].u == pytest.approx(without[code].u, rel=1e-3)


def test_a_stated_sd_holds_for_every_landmark():
    stated = measure(foot_frame_film(landmark_sd_mm=0.5, sd_given=True)).readings
    assert stated["founder_distance_mm"].u == pytest.approx(0.5 * math.sqrt(2.0), rel=1e-6)
    other = measure(foot_frame_film(landmark_sd_mm=0.2)).readings
    assert other["founder_distance_mm"].u == pytest.approx(0.2 * math.sqrt(2.0), rel=1e-6)


@pytest.mark.parametrize("said", [{}, {"condyles_superimposed": False}])
def test_no_landmark_doubt_means_plain_numbers(said):
    measured = measure(film_of(landmark_sd_mm=0.0, sd_given=True, **said))
    assert {reading.u for reading in measured.readings.values()} == {0.0}


def test_monte_carlo_agrees_with_the_linear_model_within_five_percent():
    film = film_of()
    placed = placement(film)

    def model(x):
        return lateromedial_readings(placed.points(x))

    drawn = monte_carlo(model, placed.x0, placed.u, 10_000, np.random.default_rng(11))
    found = measure(film).readings
    assert drawn.keys() == found.keys()
    for code, (value, u) in drawn.items():
        assert value == found[code].value, code
        assert found[code].u == pytest.approx(u, rel=0.05), code


def test_an_oblique_film_widens_the_doubt_and_never_shrinks_it():
    square = measure(film_of(condyles_superimposed=True))
    oblique = measure(film_of(condyles_superimposed=False))
    assert [caveat.code for caveat in square.warnings] == []
    assert [caveat.code for caveat in oblique.warnings] == ["oblique"]
    for code, reading in oblique.readings.items():
        assert reading.value == square.readings[code].value
        assert reading.u >= square.readings[code].u
    for code in ("capsular_rotation_deg", "dorsal_wall_angle_deg", "bearing_length_mm"):
        assert oblique.readings[code].u > square.readings[code].u


def test_an_oblique_film_allows_for_a_foot_turned_by_twenty_degrees():
    # With bone at 58 and wall at 50 degrees, rotation of 8 reads 7.84 on a foot so turned.
    # The stretch is 1 / cos 20 degrees at most, rectangular between none and that.
    assert OBLIQUE_U * math.sqrt(3.0) == pytest.approx(1.0 / math.cos(math.radians(20.0)) - 1.0)
    points = {
        "p3_dorsal_proximal": (0.0, 80.0),
        "p3_dorsal_distal": (
            50.0 * math.cos(math.radians(58.0)),
            80.0 - 50.0 * math.sin(math.radians(58.0)),
        ),
        "wall_proximal": (20.0, 80.0),
        "wall_distal": (
            20.0 + 50.0 * math.cos(math.radians(50.0)),
            80.0 - 50.0 * math.sin(math.radians(50.0)),
        ),
    }
    u = {
        said: measure(foot_frame_film(points, condyles_superimposed=said))
        .readings["capsular_rotation_deg"]
        .u
        for said in (True, False)
    }
    added = math.sqrt(u[False] ** 2 - u[True] ** 2)
    assert added * math.sqrt(3.0) == pytest.approx(0.16, abs=0.005)
