"""A sole of known size, photographed: its own dimensions come back."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import BadScale, CoreError, DegenerateLine, NotFinite, UnknownLandmark
from referral.core.geometry.scale import marker_scale, no_scale, spacing_scale
from referral.core.measure.film import foot_points, measure, placement
from referral.core.measure.photo_scale import TILT_U
from referral.core.measure.reasons import (
    CONFLICT,
    NO_ENDS,
    NO_LENGTH,
    NO_PHOTO_SCALE,
)
from referral.core.measure.sole_photo import BEYOND, NEEDS, SCALE_ENDS, sole_photo_readings
from tests.core.measure.feet import values
from tests.core.measure.photos import SOLE_MM, SOLE_WANTED, photo_of

POINTS = {name: np.array(each) for name, each in SOLE_MM.items()}
SCALE_FREE = {"behind_widest_percent", "frog_width_length_ratio"}


def sole(points_mm=None, **said):
    return photo_of("sole_photo", points_mm, **said)


def moved(**points):
    return sole({**SOLE_MM, **points})


def test_a_sole_of_known_size_reads_as_its_size():
    found = measure(sole())
    assert values(found) == pytest.approx(SOLE_WANTED, abs=1e-9)
    assert NEEDS.keys() == SOLE_WANTED.keys() | BEYOND.keys()
    assert found.absent == BEYOND
    assert [caveat.code for caveat in found.warnings] == ["photo"]


def test_lengths_of_a_photo_are_external_whatever_gave_the_scale():
    marker = marker_scale(np.array([[0.0, 0.0], [600.0, 0.0]]), 60.0)
    stated = spacing_scale(0.1, 0.1, "corrected", "fiducial")
    for said in ({}, *({"scale": each, "scale_length_mm": None} for each in (marker, stated))):
        readings = measure(sole(**said)).readings.values()
        assert {each.scale_state for each in readings} == {"external"}
        assert {each.basis for each in readings} == {"photo"}


def test_a_sole_measured_by_hand_in_millimetres_reads_the_same_and_stays_external():
    film = sole(landmarks_px=None, landmarks_mm=SOLE_MM, scale_length_mm=None)
    readings = measure(film).readings
    assert {code: each.value for code, each in readings.items()} == pytest.approx(SOLE_WANTED)
    assert {(each.scale_state, each.basis) for each in readings.values()} == {("external", "photo")}


@given(
    turn_deg=st.floats(-180.0, 180.0),
    mirrored=st.booleans(),
    shift=st.tuples(st.floats(-50.0, 50.0), st.floats(-50.0, 50.0)),
)
def test_moving_turning_and_mirroring_the_photo_change_nothing(turn_deg, mirrored, shift):
    points = {name: tuple(np.add(each, shift)) for name, each in SOLE_MM.items()}
    found = values(measure(sole(points, turn_deg=turn_deg, mirrored=mirrored)))
    assert found == pytest.approx(SOLE_WANTED, abs=1e-6)


@given(factor=st.floats(0.2, 5.0))
def test_a_larger_foot_is_longer_and_keeps_its_proportions(factor):
    points = {name: tuple(np.multiply(each, factor)) for name, each in SOLE_MM.items()}
    found = values(measure(sole(points, scale_length_mm=factor * 100.0)))
    wanted = {
        code: value if code in SCALE_FREE else factor * value for code, value in SOLE_WANTED.items()
    }
    assert found == pytest.approx(wanted, rel=1e-9)
    # The same picture with a wrong known length: every length off by one factor.
    assert values(measure(sole(scale_length_mm=factor * 100.0))) == pytest.approx(wanted, rel=1e-9)


def test_pixels_that_are_not_square_read_the_same():
    px = {name: np.array(each) * (10.0, 5.0) + 1000.0 for name, each in SOLE_MM.items()}
    film = sole(landmarks_px=px, scale=no_scale((2.0, 1.0)))
    assert values(measure(film)) == pytest.approx(SOLE_WANTED, abs=1e-9)


@pytest.mark.parametrize("code", SOLE_WANTED)
def test_a_reading_needs_its_own_landmarks_and_no_others(code):
    found = sole_photo_readings({name: POINTS[name] for name in NEEDS[code]})
    assert float(found[code]) == pytest.approx(SOLE_WANTED[code], abs=1e-9)
    for name in NEEDS[code]:
        rest = {other: POINTS[other] for other in NEEDS[code] if other != name}
        assert code not in sole_photo_readings(rest)


def test_broadcasting_equals_looping():
    rng = np.random.default_rng(3)
    batch = {name: each + rng.normal(0.0, 2.0, (4, 3, 2)) for name, each in POINTS.items()}
    together = sole_photo_readings(batch)
    for place in np.ndindex(4, 3):
        alone = sole_photo_readings({name: each[place] for name, each in batch.items()})
        assert {code: value[place] for code, value in together.items()} == pytest.approx(alone)


def test_a_sole_without_length_has_no_share():
    flat = POINTS | {"toe": np.array([-60.0, 0.0])}
    assert not np.isfinite(sole_photo_readings(flat)["behind_widest_percent"])
    short = POINTS | {"frog_apex": POINTS["frog_widest_level"]}
    assert not np.isfinite(sole_photo_readings(short)["frog_width_length_ratio"])


class TestScale:
    @pytest.mark.parametrize(
        ("said", "why"),
        [
            ({"without": ("scale_b",)}, NO_ENDS),
            ({"scale_length_mm": None}, NO_LENGTH),
            ({"scale_length_mm": None, "without": ("scale_a",)}, NO_PHOTO_SCALE),
        ],
    )
    def test_without_it_there_are_proportions_only(self, said, why):
        measured = measure(sole(**said))
        assert measured.readings.keys() == SCALE_FREE
        assert {each.scale_state for each in measured.readings.values()} == {"none"}
        assert measured.absent["foot_length_mm"] == why
        assert [caveat.code for caveat in measured.warnings] == ["photo", "size_assumed"]
        assert values(measured) == pytest.approx(
            {code: SOLE_WANTED[code] for code in SCALE_FREE}, abs=1e-9
        )

    def test_the_doubt_of_unscaled_proportions_is_that_of_a_foot_of_ordinary_size(self):
        # This foot is as long as the ordinary one, but for its heels' width: 131.9 to 130 mm.
        scaled = measure(sole()).readings["behind_widest_percent"].u
        unscaled = measure(sole(scale_length_mm=None)).readings["behind_widest_percent"].u
        assert unscaled == pytest.approx(scaled * math.hypot(128.0, 32.0) / 130.0, rel=1e-3)

    def test_sources_that_contradict_each_other_give_no_length(self):
        film = sole(scale=replace(no_scale(), conflict=True), scale_length_mm=None)
        measured = measure(film)
        assert measured.readings.keys() == SCALE_FREE
        assert measured.absent["foot_length_mm"] == CONFLICT
        assert film.scale_state == "none"

    @pytest.mark.parametrize("length_mm", [0.0, -5.0, math.nan, math.inf])
    def test_a_length_that_is_none_is_refused(self, length_mm):
        with pytest.raises(BadScale) as caught:
            measure(sole(scale_length_mm=length_mm))
        assert caught.value.at == "film.scale_length_mm"

    def test_ends_on_one_spot_or_nowhere_are_refused(self):
        with pytest.raises(BadScale, match="one spot") as caught:
            measure(moved(scale_b=SOLE_MM["scale_a"]))
        assert caught.value.at == "film.landmarks_px.scale_b"
        with pytest.raises(NotFinite):
            measure(moved(scale_b=(math.nan, 0.0)))

    def test_a_film_takes_no_notice_of_a_known_length(self):
        film = photo_of("front_photo", scale_length_mm=20.0)
        assert film.scale_in_force.row_mm == pytest.approx(0.02)
        film = replace(film, view="dorsopalmar", landmarks_px={"coronet_medial": [5.0, 5.0]})
        assert film.scale_in_force == film.scale


class TestFrame:
    def test_points_stand_on_the_middle_line(self):
        points = foot_points(sole(turn_deg=33.0))
        assert points["toe"].tolist() == pytest.approx([130.0, 0.0])
        middle = (points["heel_medial"] + points["heel_lateral"]) / 2.0
        assert middle.tolist() == pytest.approx([0.0, 0.0], abs=1e-9)
        assert points["widest_lateral"].tolist() == pytest.approx([68.0, 66.0])

    def test_the_frog_alone_gives_its_own_proportion(self):
        measured = measure(sole(without=("toe", "heel_medial")))
        assert values(measured).keys() == {"frog_width_length_ratio"}
        assert measured.absent["half_width_medial_mm"] == "needs heel_medial and toe"
        assert foot_points(sole(without=("toe",))) == {}

    def test_a_side_is_needed_to_tell_lateral_from_medial(self):
        names = ("widest_lateral", "frog_widest_lateral", "frog_widest_medial", "heel_lateral")
        measured = measure(sole(without=names))
        assert not measured.readings
        assert placement(sole(without=names)) is None
        only_medial = sole(without=(*names, "heel_medial"))
        assert measure(only_medial).absent["foot_length_mm"] == "needs heel_medial and heel_lateral"
        heels = sole({name: SOLE_MM[name] for name in (*NEEDS["foot_length_mm"], *SCALE_ENDS)})
        assert values(measure(heels)) == {"foot_length_mm": pytest.approx(130.0)}


@pytest.mark.parametrize(
    ("points", "match"),
    [
        (
            {"widest_medial": (4.0, 70.0), "widest_lateral": (8.0, 66.0)},
            "widest_medial lies on the lateral side of widest_lateral",
        ),
        (
            {"frog_widest_medial": (-50.0, 26.0), "frog_widest_lateral": (-50.0, -26.0)},
            "frog_widest_medial lies on the lateral side",
        ),
        (
            {"heel_medial": (-62.0, 32.0), "heel_lateral": (-58.0, -32.0)},
            "heel_medial lies on the lateral side",
        ),
        (
            {"frog_apex": (-50.0, 0.0), "frog_widest_level": (25.0, 0.0)},
            "frog_widest_level lies in front of frog_apex",
        ),
    ],
)
def test_a_sole_that_contradicts_itself_is_refused(points, match):
    with pytest.raises(CoreError, match=match):
        measure(moved(**points))


def test_points_that_make_no_middle_line_are_refused():
    for points in ({"widest_lateral": (8.0, 0.0)}, {"toe": (-60.0, 0.0)}):
        with pytest.raises(DegenerateLine, match="middle line") as caught:
            measure(moved(**points))
        assert caught.value.at == "film.landmarks_px.widest_lateral"


def test_a_landmark_that_a_sole_does_not_have_is_refused():
    with pytest.raises(UnknownLandmark, match="A sole photo has no landmark 'p3_tip'"):
        measure(moved(p3_tip=(1.0, 1.0)))


class TestDoubt:
    def test_the_length_has_the_closed_form(self):
        # Heels' mean: SD / sqrt 2; toe: SD; then the rule and the tilt, both along the foot.
        points = math.hypot(0.5 / math.sqrt(2.0), 0.5)
        rule = math.sqrt(2.0) * 0.5 / 100.0
        wanted = math.hypot(points, 130.0 * rule, 130.0 * TILT_U, 130.0 * TILT_U)
        assert measure(sole()).readings["foot_length_mm"].u == pytest.approx(wanted, rel=1e-4)

    def test_where_the_foot_is_widest_is_placed_less_surely(self):
        by_eye = measure(sole(landmarks_px=None, landmarks_mm=SOLE_MM)).readings
        # Both points of the widest level and both of the heels: SD 2 and 0.5 mm.
        wanted = math.hypot(2.0, 0.5) / math.sqrt(2.0)
        assert by_eye["heel_to_widest_mm"].u == pytest.approx(wanted, rel=1e-4)

    def test_a_camera_may_lean_by_ten_degrees(self):
        assert TILT_U * math.sqrt(3.0) == pytest.approx(1.0 / math.cos(math.radians(10.0)) - 1.0)

    def test_no_landmark_doubt_means_plain_numbers(self):
        readings = measure(sole(landmark_sd_mm=0.0, sd_given=True)).readings
        assert {each.u for each in readings.values()} == {0.0}
