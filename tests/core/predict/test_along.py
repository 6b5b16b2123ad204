"""A trim along the wall and square to the bearing surface."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError, NotFinite
from referral.core.predict.along import along_wall_mm, square_mm


def test_the_worked_example():
    # 5.0 mm square is 6.8 mm along a wall of 47 degrees (plane geometry: 5 / sin 47)
    assert along_wall_mm(5.0, 47.0) == pytest.approx(6.8366, abs=1e-4)
    assert square_mm(5.0, 90.0) == 5.0
    assert square_mm(10.0, 30.0) == pytest.approx(5.0)


@given(st.floats(0, 40), st.floats(20, 120))
def test_there_and_back(trim, angle):
    assert square_mm(along_wall_mm(trim, angle), angle) == pytest.approx(trim)


@pytest.mark.parametrize("angle", [0.0, 180.0, -3.0])
def test_a_wall_lying_flat_is_refused(angle):
    with pytest.raises(CoreError):
        square_mm(5.0, angle)


@pytest.mark.parametrize(("trim", "angle"), [(math.nan, 47.0), (5.0, math.inf)])
def test_what_is_no_number_is_refused(trim, angle):
    with pytest.raises(NotFinite):
        along_wall_mm(trim, angle)
