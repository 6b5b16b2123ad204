"""How days, moments and numbers are written."""

from datetime import UTC, date, datetime

import pytest

from referral.web.written import day, limb, moment, number, quantity, unit_sign, with_u, words


def test_a_day_cannot_be_misread():
    assert day(date(2026, 11, 6)) == "6 Nov 2026"
    assert day(None) == "\N{EN DASH}"


@pytest.mark.parametrize(
    ("zone", "text"),
    [
        ("Europe/London", "1 May 2026, 00:30"),
        ("America/New_York", "30 Apr 2026, 19:30"),
        ("Pacific/Auckland", "1 May 2026, 11:30"),
    ],
)
def test_a_moment_is_shown_by_the_clock_at_the_yard(zone, text):
    # Offsets on that day: London +01:00, New York -04:00, Auckland +12:00 (IANA zones).
    assert moment(datetime(2026, 4, 30, 23, 30, tzinfo=UTC), zone) == text
    assert moment(None, zone) == "\N{EN DASH}"


def test_numbers_have_a_true_minus_and_no_minus_zero():
    assert number(-5.72) == "\N{MINUS SIGN}5.7"
    assert number(-0.04) == "0.0"
    assert number(12.0, 2) == "12.00"
    assert number(None) == "\N{EN DASH}"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4.46, "deg", "4.5°"),
        (12.0, "mm", "12.0\u202fmm"),
        (0.625, "ratio", "0.62"),
        (62.4, "percent", "62\u202f%"),
        (None, "mm", "\N{EN DASH}"),
    ],
)
def test_quantities_carry_their_unit(value, unit, text):
    assert quantity(value, unit) == text


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (50.63, 1.61, "percent", "50.6 ± 3.2\u202f%"),
        (-0.04, 0.7, "deg", "0.0 ± 1.4°"),
        (-12.5, 0.7, "mm", "\N{MINUS SIGN}12.5 ± 1.4\u202fmm"),
        (1.236, 0.011, "ratio", "1.24 ± 0.02"),
        (-0.004, 0.01, "ratio", "0.00 ± 0.02"),
    ],
)
def test_a_value_and_its_interval_have_the_same_decimals(value, u, unit, text):
    """To the same place as its uncertainty: JCGM 100:2008, 7.2.6."""
    assert with_u(value, u, unit) == text


def test_a_unit_by_itself_is_its_sign():
    """ISO 80000-1: ° and % are the signs of degree and per cent."""
    signs = {each: unit_sign(each) for each in ("deg", "percent", "mm", "ratio", "weeks")}
    assert signs == {"deg": "°", "percent": "%", "mm": "mm", "ratio": "", "weeks": "weeks"}


def test_limbs_are_named_as_the_reader_likes():
    assert limb("LF") == "left fore"
    assert limb("LF", "near") == "near fore"
    assert limb("RH", "near") == "off hind"
    assert limb(None) == "\N{EN DASH}"
    assert words("straight_bar") == "straight bar"
