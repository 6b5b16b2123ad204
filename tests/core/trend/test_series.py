"""What may be joined to a series, what is a real change, what was promised and came."""

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError
from referral.core.measure.readings import Convention, Reading
from referral.core.trend.series import (
    Kind,
    Point,
    change_between,
    promised_beside_achieved,
    series_of,
)

DAY = date(2026, 3, 2)


def reading(code="palmar_angle_deg", value=4.0, unit="deg", scale="marker", basis="film"):
    return {code: Reading(code, value, 0.5, unit, scale, basis)}


def later(days):
    return DAY + timedelta(days=days)


def test_films_stated_values_and_photos_are_never_joined():
    visits = [
        (DAY, reading(basis="film")),
        (later(7), reading(basis="stated")),
        (later(14), reading(basis="photo")),
        (later(21), reading(basis="film", value=5.0)),
    ]
    found = series_of(visits)
    assert {kind.basis: len(points) for kind, points in found.items()} == {
        "film": 2, "stated": 1, "photo": 1,
    }  # fmt: skip


def test_lengths_of_other_scales_are_never_joined_and_angles_are():
    length = {"code": "sole_depth_tip_mm", "unit": "mm"}
    visits = [
        (DAY, reading(scale="marker", **length) | reading(scale="marker")),
        (later(7), reading(scale="corrected", **length) | reading(scale="corrected")),
        (later(14), reading(scale="estimated", **length) | reading(scale="estimated")),
    ]
    found = series_of(visits)
    assert [len(points) for kind, points in found.items() if kind.code == "palmar_angle_deg"] == [3]
    assert len(found[Kind("sole_depth_tip_mm", "film", "scaled")]) == 2
    assert len(found[Kind("sole_depth_tip_mm", "film", "estimated")]) == 1


def test_readings_of_another_definition_or_of_one_not_kept_are_never_joined():
    now = Convention("+ down", "Line of the sole.", ("tip", "heel"), "our registry")
    before = replace(now, sentence="Line of the wall.")
    visits = [
        (later(7 * week), {each.code: replace(each, convention=convention)})
        for week, convention in enumerate((None, before, now, None, now))
        for each in reading().values()
    ]
    found = series_of(visits)
    assert {kind.convention: len(points) for kind, points in found.items()} == {
        None: 2, before: 1, now: 2,
    }  # fmt: skip


def test_points_stand_by_day_and_the_later_given_of_one_day_stands():
    visits = [(later(7), reading(value=5.0)), (DAY, reading()), (later(7), reading(value=6.0))]
    (points,) = series_of(visits).values()
    assert [(each.on, each.value) for each in points] == [(DAY, 4.0), (later(7), 6.0)]


def test_the_smallest_change_that_counts():
    # Source: JCGM 100:2008, 5.1.2: u of a difference of independent readings is the root of
    # the sum of squares; 0.72 each makes 1.96 x sqrt(2) x 0.72 = 1.996, the 2 degrees of the trade.
    first = Point(DAY, 3.0, 0.72)
    assert change_between(first, Point(later(35), 5.0, 0.72)).is_real
    within = change_between(first, Point(later(35), 4.99, 0.72))
    assert not within.is_real
    assert within.least_real == pytest.approx(1.9958, abs=1e-4)


@given(st.floats(-90, 90), st.floats(-90, 90), st.floats(0, 5), st.floats(0, 5))
def test_there_and_back_is_the_same_change(a, b, ua, ub):
    there = change_between(Point(DAY, a, ua), Point(later(1), b, ub))
    back = change_between(Point(later(1), b, ub), Point(DAY, a, ua))
    assert there.value == -back.value
    assert (there.u, there.is_real) == (back.u, back.is_real)


@pytest.mark.parametrize(
    "bad", [Point(DAY, math.nan, 0.1), Point(DAY, 1.0, math.inf), Point(DAY, 1.0, -0.1)]
)
def test_what_is_no_number_has_no_change(bad):
    with pytest.raises(CoreError):
        change_between(bad, Point(DAY, 1.0, 0.1))


def test_a_promise_is_answered_by_the_film_nearest_to_its_day():
    promised = [Point(later(40), 6.0, 0.5), Point(DAY, 5.0, 0.5), Point(later(300), 7.0, 0.5)]
    achieved = [Point(later(45), 2.0, 0.5), Point(later(3), 5.5, 0.5), Point(later(38), 3.0, 0.5)]
    kept = promised_beside_achieved(promised, achieved, longest_days=14)
    assert [(each.on, each.achieved.value, each.change.is_real) for each in kept] == [
        (DAY, 5.5, False), (later(40), 3.0, True),
    ]  # fmt: skip
    both_sides = [Point(later(5), 2.0, 0.5), Point(later(-5), 4.0, 0.5)]
    (one,) = promised_beside_achieved([promised[1]], both_sides, longest_days=5)
    assert one.achieved.on == later(-5)
    assert promised_beside_achieved([promised[1]], both_sides, longest_days=4) == ()
