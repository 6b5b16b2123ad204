"""A film is measured, or refused with one sentence and the path of the culprit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from referral.core.errors import (
    CoreError,
    DegenerateCircle,
    DegenerateLine,
    NotFinite,
    UnknownLandmark,
)
from referral.core.geometry.scale import marker_scale, no_scale, spacing_scale
from referral.core.measure.film import foot_points, measure, placement
from referral.core.measure.registry import MEASURES
from tests.core.measure.feet import (
    COLUMN_MM,
    FOOT_MM,
    GROUND_MM,
    ROW_MM,
    film_of,
    foot_frame_film,
    to_px,
    values,
)

PX = to_px({**FOOT_MM, **GROUND_MM})
LENGTHS = {code for code, each in MEASURES.items() if each.view == "lateromedial"} & {
    code for code in MEASURES if code.endswith("_mm")
}


def placed(**moved):
    return film_of(landmarks_px={**PX, **moved})


def codes(measured):
    return [caveat.code for caveat in measured.warnings]


@pytest.mark.parametrize(
    ("film", "error", "at"),
    [
        (film_of(view="oblique"), CoreError, "film.view"),
        (film_of(landmarks_px=None), CoreError, "film"),
        (film_of(landmarks_mm=FOOT_MM), CoreError, "film.landmarks_mm"),
        (placed(nose=[5, 5]), UnknownLandmark, "film.landmarks_px.nose"),
        (placed(p3_tip=[math.nan, 5]), NotFinite, "film.landmarks_px.p3_tip"),
        (placed(p3_tip=[1.0]), CoreError, "film.landmarks_px.p3_tip"),
        (placed(p3_tip=[[1.0, 2.0]]), CoreError, "film.landmarks_px.p3_tip"),
        (placed(p2_condyle=[1.0, 2.0]), CoreError, "film.landmarks_px.p2_condyle"),
        (placed(p3_tip=[2400.5, 9]), CoreError, "film.landmarks_px.p3_tip"),
        (placed(toe=[9, -0.5]), CoreError, "film.landmarks_px.toe"),
        (placed(p3_tip=PX["p3_palmar_process"]), DegenerateLine, "film.landmarks_px.p3_tip"),
        (placed(wall_distal=PX["wall_proximal"]), DegenerateLine, "film.landmarks_px.wall_distal"),
        (
            placed(ground_dorsal=PX["ground_palmar"]),
            DegenerateLine,
            "film.landmarks_px.ground_dorsal",
        ),
        (
            placed(p3_tip=(PX["ground_palmar"] + PX["ground_dorsal"]) / 2.0),
            DegenerateLine,
            "film.landmarks_px.p3_tip",
        ),
        (
            placed(p2_condyle=[[100, 100], [200, 200], [300, 300]]),
            DegenerateCircle,
            "film.landmarks_px.p2_condyle",
        ),
        (
            placed(ground_palmar=PX["ground_dorsal"], ground_dorsal=PX["ground_palmar"]),
            CoreError,
            "film.landmarks_px.p3_palmar_process",
        ),
        (
            placed(p3_palmar_process_2=PX["toe"]),
            CoreError,
            "film.landmarks_px.p3_palmar_process_2",
        ),
        (film_of(landmark_sd_mm=-0.1), CoreError, "film.landmark_sd_mm"),
        (film_of(landmark_sd_mm=math.inf), CoreError, "film.landmark_sd_mm"),
        (film_of(landmark_sd_mm=math.nan), CoreError, "film.landmark_sd_mm"),
        (film_of(landmark_sd_mm=20.5), CoreError, "film.landmark_sd_mm"),
        (
            placed(p2_condyle=[[each, each**2] for each in range(51)]),
            CoreError,
            "film.landmarks_px.p2_condyle",
        ),
        (foot_frame_film({"p3_tip": [0, 1.1e5]}), CoreError, "film.landmarks_mm.p3_tip"),
        (foot_frame_film({"p3_tip": [0, -15]}), CoreError, "film.landmarks_mm.p3_tip"),
        (
            foot_frame_film({"p3_tip": [0, 15], "toe": [-9, 0], "heel": [5, 0]}),
            CoreError,
            "film.landmarks_mm.heel",
        ),
    ],
)
def test_what_cannot_be_measured_is_refused_where_it_is_wrong(film, error, at):
    with pytest.raises(error) as caught:
        measure(film)
    assert caught.value.at == at
    assert caught.value.message.endswith(".")
    assert "\n" not in caught.value.message


def test_a_point_outside_the_condyles_row_is_named():
    outside = [[100, 100], [200, 250], [300, 3001]]
    with pytest.raises(CoreError, match=r"\(300, 3001\) lies outside .* 2400 x 3000") as caught:
        measure(placed(p2_condyle=outside))
    assert caught.value.at == "film.landmarks_px.p2_condyle"


def test_a_film_without_landmarks_has_every_reading_absent():
    for film in (film_of(landmarks_px={}), foot_frame_film({})):
        measured = measure(film)
        assert not measured.readings
        assert foot_points(film) == {}
        assert placement(film) is None
        assert measured.absent["tip_to_ground_mm"].startswith("needs p3_tip")


def test_every_code_of_the_view_is_a_reading_or_absent_with_a_reason():
    known = {code for code, each in MEASURES.items() if each.view == "lateromedial"}
    for film in (film_of(), film_of(without=("p3_tip",)), film_of(scale=no_scale())):
        measured = measure(film)
        assert measured.readings.keys() | measured.absent.keys() == known
        assert not measured.readings.keys() & measured.absent.keys()
        assert all(measured.absent.values())


def test_landmarks_that_are_missing_take_only_their_own_readings_along():
    measured = measure(film_of(without=("p3_tip", "heel")))
    assert measured.absent["palmar_angle_deg"] == "needs p3_tip"
    assert measured.absent["heel_arm_mm"] == "needs heel"
    assert measured.readings["dorsal_wall_angle_deg"].value == pytest.approx(47.0, abs=0.005)


def test_without_ground_points_only_what_needs_no_ground_is_read():
    whole = measure(film_of())
    measured = measure(film_of(without=("ground_palmar", "ground_dorsal")))
    assert measured.absent["palmar_angle_deg"] == "needs ground_palmar and ground_dorsal"
    assert measured.absent["dip_height_mm"] == "needs ground_palmar and ground_dorsal"
    assert foot_points(film_of(without=("ground_palmar",))) == {}
    assert len(measured.readings) == 10
    for code, reading in measured.readings.items():
        assert reading.value == pytest.approx(whole.readings[code].value, abs=1e-6)
        assert reading.u == pytest.approx(whole.readings[code].u, rel=1e-3)


def test_without_ground_points_and_bone_nothing_is_read():
    film = film_of(without=("ground_palmar", "p3_tip"))
    measured = measure(film)
    assert not measured.readings
    assert measured.absent["dorsal_wall_angle_deg"] == "needs ground_palmar"


def test_points_on_the_ground_alone_do_not_say_which_way_is_up():
    points = {**GROUND_MM, "toe": FOOT_MM["toe"], "heel": FOOT_MM["heel"]}
    measured = measure(film_of(points))
    assert "which way is up" in measured.absent["bearing_length_mm"]


def test_a_line_placed_from_below_reads_as_one_placed_from_above():
    pairs = ("wall", "heel_wall", "p3_dorsal", "p2_dorsal")
    swapped = dict(PX)
    for pair in pairs:
        swapped[f"{pair}_proximal"], swapped[f"{pair}_distal"] = (
            PX[f"{pair}_distal"],
            PX[f"{pair}_proximal"],
        )
    assert values(measure(film_of(landmarks_px=swapped))) == pytest.approx(
        values(measure(film_of()))
    )


def test_a_wall_square_to_the_bone_has_no_thickness():
    points = {
        "p3_dorsal_proximal": [0, 50],
        "p3_dorsal_distal": [30, 20],
        "wall_proximal": [40, 40],
        "wall_distal": [20, 20],
    }
    # The bone's normal runs along this wall, so the two never meet.
    measured = measure(foot_frame_film(points))
    assert "do not meet" in measured.absent["wall_thickness_mid_mm"]
    assert measured.readings["capsular_rotation_deg"].value == pytest.approx(-90.0)


class TestScale:
    def test_without_scale_lengths_are_absent_and_angles_and_ratios_stay(self):
        # The film's pixels are 1 by 2, which the aspect says.
        measured = measure(film_of(scale=no_scale((1.0, 2.0))))
        with_scale = measure(film_of())
        for code in LENGTHS - {"sole_to_shoe_mm"}:
            assert measured.absent[code].startswith("no scale:")
        assert measured.readings.keys() == with_scale.readings.keys() - LENGTHS
        for code, reading in measured.readings.items():
            assert reading.value == pytest.approx(with_scale.readings[code].value, abs=1e-9)
            assert reading.u == pytest.approx(with_scale.readings[code].u, rel=0.01)
            assert reading.scale_state == "none"
        assert "size_assumed" in codes(measured)

    def test_the_size_of_an_unscaled_foot_is_guessed_from_all_that_is_placed(self):
        names = ("wall_proximal", "wall_distal", "ground_palmar", "ground_dorsal")
        every = {**FOOT_MM, **GROUND_MM}
        film = film_of({name: every[name] for name in names}, scale=no_scale((1.0, 2.0)))
        reading = measure(film).readings["dorsal_wall_angle_deg"]
        calibrated = measure(replace(film, scale=film_of().scale))
        u = calibrated.readings["dorsal_wall_angle_deg"].u
        assert u < reading.u < 2.0 * u

    def test_one_landmark_alone_gives_no_size(self):
        assert placement(film_of({}, landmarks_px={"p3_tip": [5, 5]}, scale=no_scale())) is None

    def test_scales_that_contradict_each_other_say_so(self):
        scale = replace(no_scale((1.0, 2.0)), conflict=True)
        absent = measure(film_of(scale=scale)).absent
        assert (
            absent["dip_height_mm"] == "no scale: the film's sources of scale contradict each other"
        )

    def test_an_estimated_length_is_shown_with_its_state(self):
        reading = measure(film_of(scale=spacing_scale(ROW_MM, COLUMN_MM, "estimated")))
        assert reading.readings["dip_height_mm"].scale_state == "estimated"
        assert reading.readings["dip_height_mm"].basis == "film"

    def test_a_film_in_the_foot_frame_has_no_scale_and_no_doubt_of_it(self):
        reading = measure(foot_frame_film()).readings["dip_height_mm"]
        assert (reading.scale_state, reading.basis) == ("foot_frame", "foot_frame")
        scaled = measure(film_of()).readings["dip_height_mm"]
        assert reading.u < scaled.u

    def test_what_the_scale_warns_of_stands_beside_the_readings(self):
        scale = replace(film_of().scale, warnings=("The marker is far off.",))
        assert "scale" in codes(measure(film_of(scale=scale)))
        assert "scale" not in codes(measure(foot_frame_film(scale=scale)))

    @pytest.mark.parametrize(("rod_px", "wanted"), [(483.9, 15.00), (540.5, 13.43)])
    def test_a_rod_on_the_near_wall_makes_the_sole_read_short(self, rod_px, wanted):
        # Tube to plate 700, foot to plate 80 mm: 700 / 620 = 1.1290; pitch 0.14 mm. A rod of
        # 60 mm is 67.74 mm on the plate in the middle of the foot, and 75.68 mm on the near
        # wall, 65 mm nearer the tube.
        pitch = 0.14 * 620.0 / 700.0
        points = {"p3_tip": (0.0, 15.0), "sole_under_tip": (0.0, 0.0), **GROUND_MM}
        film = film_of(
            landmarks_px=to_px(points, pitch, pitch),
            size_px=None,
            scale=marker_scale(np.array([[100.0, 100.0], [100.0, 100.0 + rod_px]]), 60.0),
        )
        assert measure(film).readings["sole_depth_tip_mm"].value == pytest.approx(wanted, abs=0.005)

    @pytest.mark.parametrize(
        ("sid_mm", "oid_mm", "rod_px"), [(700.0, 80.0, 483.9), (700.0, 145.0, 540.5)]
    )
    def test_the_rods_length_on_the_plate_follows_from_the_distances(self, sid_mm, oid_mm, rod_px):
        assert 60.0 * sid_mm / (sid_mm - oid_mm) / 0.14 == pytest.approx(rod_px, abs=0.05)


class TestShod:
    def test_a_shod_foot_needs_its_own_bearing_line_for_the_cup(self):
        shod = measure(film_of(shod="yes"))
        assert shod.absent["sole_cup_tip_mm"] == "needs bearing_palmar and bearing_dorsal"
        assert measure(film_of(shod="unknown")).absent.keys() == shod.absent.keys()

    def test_the_cup_is_taken_from_the_bearing_line_not_the_ground(self):
        bearing = {"bearing_palmar": (-100.0, 2.0), "bearing_dorsal": (40.0, 0.6)}
        film = film_of({**FOOT_MM, **GROUND_MM, **bearing}, shod="yes")
        # At x = 0 the line from (-100, 2) to (40, 0.6) is 1 mm high.
        cup = measure(film).readings["sole_cup_tip_mm"]
        assert cup.value == pytest.approx(2.0, abs=1e-6)


class TestCondyle:
    def arc(self, degrees, noise=0.0):
        turns = np.radians(degrees)
        points = np.stack([np.cos(turns), np.sin(turns)], axis=-1) * 20.0 + (-52.0, 62.0)
        points[1] += noise
        return measure(film_of({**FOOT_MM, **GROUND_MM, "p2_condyle": points}))

    def test_a_wide_arc_of_many_points_needs_no_warning(self):
        assert codes(self.arc([190, 230, 270, 310, 350])) == []

    def test_three_points_are_not_checked(self):
        assert codes(self.arc([200, 270, 340])) == ["circle_not_checked"]

    def test_points_off_their_circle_are_warned_of(self):
        assert codes(self.arc([190, 230, 270, 310, 350], noise=4.0)) == ["circle_residual"]

    def test_a_short_arc_is_warned_of_and_less_sure(self):
        wide, short = self.arc([190, 230, 270, 310, 350]), self.arc([230, 250, 270, 290, 310])
        assert codes(short) == ["circle_arc"]
        assert short.readings["toe_arm_mm"].value == pytest.approx(93.494, abs=1e-4)
        assert short.readings["dip_height_mm"].u > wide.readings["dip_height_mm"].u
        assert short == self.arc([230, 250, 270, 290, 310])

    def test_a_short_arc_without_landmark_doubt_has_no_doubt(self):
        turns = np.radians([230, 250, 270, 290, 310])
        arc = np.stack([np.cos(turns), np.sin(turns)], axis=-1) * 20.0 + (-52.0, 62.0)
        points = {**FOOT_MM, **GROUND_MM, "p2_condyle": arc}
        measured = measure(film_of(points, landmark_sd_mm=0.0, sd_given=True))
        assert {reading.u for reading in measured.readings.values()} == {0.0}
        assert codes(measured) == ["circle_arc"]

    def test_two_points_make_no_centre(self):
        measured = measure(placed(p2_condyle=[[100, 100], [200, 250]]))
        assert measured.absent["dip_height_mm"] == "needs p2_condyle"
        assert codes(measured) == ["circle_few"]
