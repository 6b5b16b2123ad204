"""What a foot's own resets say of its growth and drift."""

import math
from dataclasses import replace

import pytest

from referral.core.measure.readings import Convention, Reading
from referral.core.predict.growth import OwnRates
from referral.core.predict.own_rates import Cycle, own_rates

ANGLE, TOE, WALL = "palmar_angle_deg", "toe_distance_mm", "dorsal_wall_angle_deg"


def readings(angle=None, toe=None, wall=None, *, u=0.3, scale="marker"):
    said = {ANGLE: (angle, "deg"), TOE: (toe, "mm"), WALL: (wall, "deg")}
    return {
        code: Reading(code, value, u, unit, scale, "film")
        for code, (value, unit) in said.items()
        if value is not None
    }


def cycle(fitted, returned, *, weeks=8.0, wedge=0.0, shod=True):
    return Cycle(weeks, fitted, returned, wedge, shod)


def test_growth_is_found_again_from_how_far_it_carries_the_toe():
    # Source: Kolstrung 2012, Med Weter 68:426, 2.1 mm a week; 8 weeks at 52 degrees carry the
    # toe forward 2.1 x 8 x cos 52 = 10.3 mm (geometry, the other way round).
    rates = own_rates([cycle(readings(toe=30.0, wall=52.0), readings(toe=40.34))])
    assert rates.wall_growth_mm.per_week == pytest.approx(2.1, abs=0.005)
    assert rates.wall_growth_mm.evidence == "own resets"
    assert rates.palmar_angle_drift_deg is None
    # u: two toe distances, 0.3 mm each, over the same length of time and slope
    u = math.hypot(0.3, 0.3) / (8 * math.cos(math.radians(52)))
    assert rates.wall_growth_mm.relative_u * 2.1 == pytest.approx(u, rel=0.01)


def test_drift_is_found_again_from_two_angles():
    # Source: van Heel 2006, AJVR 67:1199, -3.3 degrees in eight weeks (from memory).
    rates = own_rates([cycle(readings(5.0), readings(1.7))])
    assert rates.palmar_angle_drift_deg.per_week == pytest.approx(-0.4125)
    assert rates.palmar_angle_drift_deg.relative_u == pytest.approx(math.hypot(0.3, 0.3) / 3.3)


def test_a_device_taken_off_before_the_film_is_put_back():
    off = own_rates([cycle(readings(5.0), readings(-1.3), wedge=3.0, shod=False)])
    assert off.palmar_angle_drift_deg.per_week == pytest.approx(-0.4125)
    on = own_rates([cycle(readings(5.0), readings(1.7), wedge=3.0, shod=True)])
    assert on.palmar_angle_drift_deg.per_week == pytest.approx(-0.4125)


def test_several_cycles_are_weighted_and_their_scatter_counts():
    # weighted mean of -0.2 (u 0.05) and -0.6 (u 0.10): weights 400 and 100, so -0.28;
    # scatter sqrt((400 x 0.08^2 + 100 x 0.32^2) / 500 / 1) = 0.16, larger than 1/sqrt(500)
    first = cycle(readings(5.0, u=0.4 / math.sqrt(2)), readings(3.4, u=0.4 / math.sqrt(2)))
    second = cycle(readings(5.0, u=0.8 / math.sqrt(2)), readings(0.2, u=0.8 / math.sqrt(2)))
    rate = own_rates([first, second]).palmar_angle_drift_deg
    assert rate.per_week == pytest.approx(-0.28)
    assert rate.relative_u * 0.28 == pytest.approx(0.16)
    assert rate.source.startswith("2 shoeing cycles of this foot")


@pytest.mark.parametrize(
    "one",
    [
        cycle(readings(5.0, 30.0, 52.0), readings()),
        cycle(readings(), readings(3.0, 40.0)),
        cycle(readings(5.0, 30.0, 52.0), readings(3.0, 40.0), weeks=1.5),
        cycle(readings(toe=30.0), readings(toe=40.0)),
        cycle(readings(toe=30.0, wall=52.0), readings(toe=40.0, scale="estimated")),
        cycle(readings(toe=30.0, wall=90.0 + 1e-9), readings(toe=40.0)),
        cycle(readings(toe=30.0, wall=52.0), readings(toe=29.0)),
        cycle(readings(toe=30.0, wall=52.0), readings(toe=90.0)),
        cycle(readings(5.0), readings(5.0)),
    ],
    ids=[
        "not measured again",
        "not known as fitted",
        "too short",
        "wall's slope not known",
        "scale only estimated",
        "wall upright",
        "shrinking",
        "far too fast",
        "no change at all",
    ],
)
def test_what_cannot_be_told_gives_no_rate(one):
    assert own_rates([one]) == OwnRates()


def test_no_cycle_gives_no_rate():
    assert own_rates([]) == OwnRates()


def defined(found, source):
    """Return readings that were taken by a definition of this source."""
    convention = Convention("", "Some angle.", ("p3_tip",), source)
    return {code: replace(each, convention=convention) for code, each in found.items()}


def test_ends_of_different_definitions_are_never_joined():
    old, new = (defined(readings(5.0, 30.0, 52.0), each) for each in ("old", "new"))
    back = readings(4.0, 40.0)
    for fitted, returned in (
        (old, defined(back, "new")),
        (old, back),
        (readings(5.0, 30.0, 52.0), defined(back, "new")),
    ):
        assert own_rates([cycle(fitted, returned)]) == OwnRates()
    assert own_rates([cycle(new, defined(back, "new"))]).palmar_angle_drift_deg is not None


def test_cycles_of_different_definitions_are_never_averaged_and_the_last_one_counts():
    old = cycle(defined(readings(5.0), "old"), defined(readings(1.0), "old"))
    new = cycle(defined(readings(5.0), "new"), defined(readings(4.2), "new"))
    rate = own_rates([old, new]).palmar_angle_drift_deg
    assert rate.per_week == pytest.approx(-0.1)
    assert rate.source == "1 shoeing cycle of this foot"
    assert own_rates([new, old]).palmar_angle_drift_deg.per_week == pytest.approx(-0.5)


def test_where_the_definition_was_not_kept_it_is_said():
    rate = own_rates([cycle(readings(5.0), readings(1.7))]).palmar_angle_drift_deg
    assert rate.source == "1 shoeing cycle of this foot, by a definition that was not kept"
