"""The weighted line, against NumPy's own polynomial fit."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError
from referral.core.trend.line import line_through
from referral.core.trend.series import Point

DAY = date(2026, 1, 5)


def points_of(days, values, us):
    return [Point(DAY + timedelta(days=d), v, u) for d, v, u in zip(days, values, us, strict=True)]


@given(
    st.lists(
        st.tuples(st.integers(0, 900), st.floats(-20, 60), st.floats(0.2, 3.0)),
        min_size=4,
        max_size=20,
        unique_by=lambda each: each[0],
    )
)
def test_it_is_the_line_that_numpy_fits(rows):
    # Reference library: numpy.polyfit with weights 1/u and cov="unscaled" (u as given).
    days, values, us = zip(*rows, strict=True)
    weeks = (np.array(days) - min(days)) / 7
    (slope, start), cov = np.polyfit(weeks, values, 1, w=1 / np.array(us), cov="unscaled")
    line = line_through(points_of(days, values, us))
    assert line.per_week == pytest.approx(slope, abs=1e-6)
    assert line.at(line.start)[0] == pytest.approx(start, abs=1e-5)
    left = (np.array(values) - start - slope * weeks) / np.array(us)
    widen = max(1.0, np.sqrt((left**2).sum() / (len(rows) - 2)))
    assert line.per_week_u == pytest.approx(np.sqrt(cov[0, 0]) * widen, rel=1e-5)
    assert line.at(line.start)[1] == pytest.approx(np.sqrt(cov[1, 1]) * widen, rel=1e-5)


def test_a_steady_fall_is_real_and_noise_is_not():
    days = [0, 35, 70, 105]
    assert line_through(points_of(days, [6.0, 4.9, 4.1, 3.0], [0.3] * 4)).is_real
    assert not line_through(points_of(days, [4.0, 4.4, 3.8, 4.1], [0.5] * 4)).is_real


@pytest.mark.parametrize("days", [[], [0], [0, 7], [3, 3, 3]])
def test_too_few_readings_or_days_have_no_line(days):
    assert line_through(points_of(days, [1.0] * len(days), [0.5] * len(days))) is None


def test_what_is_no_number_has_no_line():
    with pytest.raises(CoreError):
        line_through(points_of([0, 7, 14], [1.0, float("nan"), 2.0], [0.5] * 3))
