"""Wedges and trims against worked tables (trigonometry: t = L tan(theta))."""

import math

import numpy as np
import pytest

from referral.core.errors import ImpossiblePlan, NotFinite
from referral.core.predict.wedge import (
    trim_along_wall_mm,
    trim_tilt_deg,
    wedge_angle_deg,
    wedge_height_mm,
)

ANGLES = (1, 2, 3, 5, 6, 10)
HEIGHTS = {
    100: (1.75, 3.49, 5.24, 8.75, 10.51, 17.63),
    110: (1.92, 3.84, 5.76, 9.62, 11.56, 19.40),
    120: (2.09, 4.19, 6.29, 10.50, 12.61, 21.16),
    130: (2.27, 4.54, 6.81, 11.37, 13.66, 22.92),
}
CELLS = [
    (length, angle, height)
    for length, row in HEIGHTS.items()
    for angle, height in zip(ANGLES, row, strict=True)
]


@pytest.mark.parametrize(("length", "angle", "height"), CELLS)
def test_height_of_a_wedge(length, angle, height):
    assert round(float(wedge_height_mm(length, angle)), 2) == pytest.approx(height, abs=1e-9)


@pytest.mark.parametrize(("length", "angle", "height"), CELLS)
def test_angle_of_a_wedge_from_the_printed_height(length, angle, height):
    half_digit = math.degrees(0.005 / length)
    assert float(wedge_angle_deg(length, height)) == pytest.approx(angle, abs=half_digit)


@pytest.mark.parametrize(
    ("length", "height", "angle"),
    [(110, 5, 2.60), (110, 6, 3.12), (110, 10, 5.19), (120, 10, 4.76), (130, 12, 5.27)],
)
def test_inverse_examples(length, height, angle):
    assert round(float(wedge_angle_deg(length, height)), 2) == angle


@pytest.mark.parametrize(("toe", "heel", "turn"), [(0, 5, -2.60), (5, 0, 2.60), (4, 4, 0.0)])
def test_turn_by_a_trim_of_upright_walls(toe, heel, turn):
    assert round(float(trim_tilt_deg(toe, heel, 110)), 2) == turn


def test_trim_along_a_sloping_wall():
    assert round(float(trim_along_wall_mm(5.0, 47.0)), 1) == 6.8
    assert float(trim_along_wall_mm(5.0, 90.0)) == pytest.approx(5.0)


def test_tables_broadcast():
    heights = wedge_height_mm(np.array([[100.0], [120.0]]), np.array(ANGLES))
    assert heights.shape == (2, 6)


@pytest.mark.parametrize(
    ("compute", "arguments", "error"),
    [
        (wedge_height_mm, (0.0, 3.0), ImpossiblePlan),
        (wedge_height_mm, (100.0, 90.0), ImpossiblePlan),
        (wedge_height_mm, (math.nan, 3.0), NotFinite),
        (wedge_height_mm, (100.0, math.inf), NotFinite),
        (wedge_angle_deg, (-1.0, 3.0), ImpossiblePlan),
        (wedge_angle_deg, (100.0, math.nan), NotFinite),
        (trim_along_wall_mm, (5.0, 0.0), ImpossiblePlan),
        (trim_along_wall_mm, (5.0, 180.0), ImpossiblePlan),
        (trim_along_wall_mm, (math.nan, 47.0), NotFinite),
        (trim_tilt_deg, (math.nan, 0.0, 110.0), NotFinite),
    ],
)
def test_numbers_that_no_wedge_has(compute, arguments, error):
    with pytest.raises(error):
        compute(*arguments)
