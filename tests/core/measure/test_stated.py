"""Readings typed in, alone and beside a film's."""

import math

import pytest

from referral.core.errors import CoreError, NotFinite, UnknownMeasure
from referral.core.measure.film import measure
from referral.core.measure.readings import Caveat, Measured, Reading
from referral.core.measure.stated import STATED_U, StatedValue, merge, stated_readings
from tests.core.measure.feet import film_of


def film_reading(value, u=0.6, code="palmar_angle_deg"):
    return Measured({code: Reading(code, value, u, "deg", "corrected", "film")})


def stated(value, **said):
    return stated_readings({"palmar_angle_deg": StatedValue(value, **said)})


def test_a_typed_value_takes_the_default_doubt_and_an_unsaid_scale():
    reading = stated_readings({"sole_depth_tip_mm": StatedValue(12.5)}).readings[
        "sole_depth_tip_mm"
    ]
    assert reading == Reading("sole_depth_tip_mm", 12.5, 0.72, "mm", "unsaid", "stated")


def test_the_default_doubt_makes_two_millimetres_the_smallest_change_that_counts():
    for unit in ("mm", "deg"):
        assert 1.96 * math.sqrt(2.0) * STATED_U[unit] == pytest.approx(2.0, abs=0.005)


def test_default_doubts_of_shares_and_ratios_follow_from_their_lengths():
    toe, heel = 65.0, 65.0
    share = 100.0 * 0.72 * math.hypot(toe, heel) / (toe + heel) ** 2
    assert STATED_U["percent"] == pytest.approx(share, abs=0.05)
    ratio = 0.72 / 66.0 * math.sqrt(1.0 + 0.28**2)
    assert STATED_U["ratio"] == pytest.approx(ratio, abs=0.0005)


def test_what_was_stated_is_kept_as_stated():
    said = StatedValue(12.5, 0.0, "marker", instead_of_film=True)
    reading = stated_readings({"sole_depth_tip_mm": said}).readings["sole_depth_tip_mm"]
    assert (reading.u, reading.scale_state, reading.instead_of_film) == (0.0, "marker", True)


@pytest.mark.parametrize(
    ("code", "said", "error", "at"),
    [
        ("hoof_happiness_mm", StatedValue(1.0), UnknownMeasure, "readings.hoof_happiness_mm"),
        ("palmar_angle_deg", StatedValue(math.nan), NotFinite, "readings.palmar_angle_deg"),
        ("palmar_angle_deg", StatedValue(1.0, math.inf), NotFinite, "readings.palmar_angle_deg"),
        ("palmar_angle_deg", StatedValue(1.0, -0.1), CoreError, "readings.palmar_angle_deg.u"),
        (
            "palmar_angle_deg",
            StatedValue(1.0, scale="guess"),
            CoreError,
            "readings.palmar_angle_deg.scale",
        ),
    ],
)
def test_a_value_that_cannot_be_used_is_refused(code, said, error, at):
    with pytest.raises(error) as caught:
        stated_readings({code: said})
    assert caught.value.at == at


def test_the_films_value_is_judged_and_the_stated_one_stands_beside_it():
    merged = merge(film_reading(5.0), stated(4.0))
    reading = merged.readings["palmar_angle_deg"]
    assert (reading.value, reading.basis, reading.stated) == (5.0, "film", (4.0, 0.72))
    assert merged.warnings == ()


def test_a_stated_value_may_be_judged_in_the_films_place():
    reading = merge(film_reading(5.0), stated(4.0, instead_of_film=True)).readings
    assert (reading["palmar_angle_deg"].value, reading["palmar_angle_deg"].basis) == (4.0, "stated")


@pytest.mark.parametrize(("apart", "is_said"), [(1.959, False), (1.961, True), (-1.961, True)])
def test_values_farther_apart_than_their_doubts_allow_are_warned_of(apart, is_said):
    # u of 0.6 and 0.8: 1.96 x 1.0.
    merged = merge(film_reading(5.0, 0.6), stated(5.0 + apart, u=0.8))
    assert bool(merged.warnings) is is_said
    for instead, judged in ((False, "the film's is judged"), (True, "the stated one is judged")):
        said = stated(99.0, instead_of_film=instead)
        (caveat,) = merge(film_reading(5.0), said).warnings
        assert caveat.code == "stated_differs"
        assert judged in caveat.text


def test_a_stated_value_fills_what_the_film_lacks():
    film = measure(film_of(without=("p3_tip",)))
    film = Measured(film.readings, film.absent, (Caveat("oblique", "Turned."),))
    merged = merge(film, stated(4.0))
    assert merged.readings["palmar_angle_deg"].value == 4.0
    assert "palmar_angle_deg" not in merged.absent
    assert merged.absent["bone_angle_deg"] == "needs p3_tip"
    assert merged.warnings == film.warnings
