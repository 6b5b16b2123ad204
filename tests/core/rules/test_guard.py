"""The guard band and the probability of being outside, against published figures."""

import math

import pytest

from referral.core.rules.guard import Bound, decide, margin_of, normal_cdf, p_beyond


@pytest.mark.parametrize(
    ("conformance", "z"),
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_one_sided_conformance_probability_of_jcgm_106_table_1(conformance, z):
    # JCGM 106:2012, 7.3.3, table 1 (z = (T_U - y)/u for p_c; the figures from memory).
    upper = Bound("high", 100.0, "caution")
    u = 4.0
    assert 1.0 - p_beyond(100.0 - z * u, u, upper) == pytest.approx(conformance, abs=0.003)


def test_speed_limit_example_of_jcgm_106():
    # JCGM 106:2012, 8.3.3 (from memory): limit 100 km/h, u = 2 % of the reading; at 107 km/h
    # the limit is exceeded with a probability of at least 99.9 %, at 106 km/h it is not.
    limit = Bound("high", 100.0, "breach")
    assert p_beyond(107.0, 0.02 * 107.0, limit) >= 0.999
    assert p_beyond(106.0, 0.02 * 106.0, limit) < 0.999


def test_guard_band_of_two_u_leaves_at_most_2_3_percent_outside():
    # JCGM 106:2012, 8.3.2 (from memory): w = U = 2u keeps the risk of a false acceptance
    # at one limit to at most 2.3 %.
    limit = Bound("low", 15.0, "caution")
    just_inside = 15.0 + 2 * 0.7 + 1e-6
    assert decide(just_inside, 0.7, limit) == "WITHIN"
    assert p_beyond(just_inside, 0.7, limit) == pytest.approx(0.02275, abs=1e-4)


def test_normal_distribution_agrees_with_the_standard_library():
    from statistics import NormalDist

    for z in (-6.0, -1.5, 0.0, 0.3, 2.0, 5.0):
        assert normal_cdf(z) == pytest.approx(NormalDist().cdf(z), rel=1e-9)


@pytest.mark.parametrize(
    ("value", "u", "verdict"),
    [
        (15.0, 0.0, "WITHIN"),
        (14.999, 0.0, "OUTSIDE"),
        (15.0, 0.7, "TOO_CLOSE"),
        (16.4, 0.7, "TOO_CLOSE"),
        (13.6, 0.7, "TOO_CLOSE"),  # 15 - 13.6 is 1.4000000000000004 in binary
        (16.41, 0.7, "WITHIN"),
        (13.59, 0.7, "OUTSIDE"),
    ],
)
def test_at_least(value, u, verdict):
    assert decide(value, u, Bound("low", 15.0, "caution")) == verdict


@pytest.mark.parametrize(
    ("value", "bound", "verdict"),
    [
        (3 * 1.1, Bound("high", 3.3, "caution"), "WITHIN"),  # False in binary
        (0.7 + 0.1, Bound("low", 0.8, "caution"), "WITHIN"),  # False in binary
        (50.0, Bound("high", 50.0, "caution"), "WITHIN"),
        (50.04, Bound("high", 50.0, "caution"), "OUTSIDE"),
        (0.0, Bound("low", 0.0, "breach", strict=True), "OUTSIDE"),
        (3 * 0.1 - 0.3, Bound("low", 0.0, "breach", strict=True), "OUTSIDE"),
        (0.001, Bound("low", 0.0, "breach", strict=True), "WITHIN"),
        (20.0, Bound("high", 20.0, "breach", strict=True), "OUTSIDE"),
    ],
)
def test_at_the_limit_unrounded_and_free_of_float_traps(value, bound, verdict):
    assert decide(value, 0.0, bound) == verdict
    assert p_beyond(value, 0.0, bound) == (1.0 if verdict == "OUTSIDE" else 0.0)


def test_margin_is_positive_inside_on_either_side():
    assert math.isclose(margin_of(18.0, Bound("low", 15.0, "note")), 3.0)
    assert math.isclose(margin_of(18.0, Bound("high", 20.0, "note")), 2.0)
