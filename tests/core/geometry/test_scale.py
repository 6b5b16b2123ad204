"""Scales that a marker, a stated spacing or a magnification give."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import BadScale
from referral.core.geometry.frames import pixels_to_mm
from referral.core.geometry.scale import (
    Scale,
    beside_marker,
    detector_scale,
    marker_scale,
    no_scale,
    spacing_scale,
)

SID_MM, OID_MM, PITCH_MM, ROD_MM = 700.0, 80.0, 0.14, 60.0


def rod_px(long_px, turn_deg=90.0):
    turn = math.radians(turn_deg)
    return np.array(
        [[100.0, 50.0], [100.0 + long_px * math.cos(turn), 50.0 + long_px * math.sin(turn)]]
    )


def on_plate_px(length_mm, source_to_rod_mm):
    """A rod's length on the plate, by similar triangles, in its pixels."""
    return length_mm * SID_MM / source_to_rod_mm / PITCH_MM


def length_mm(scale: Scale, ends_px):
    ends = pixels_to_mm(np.asarray(ends_px, float), scale.row_mm, scale.column_mm)
    return float(np.hypot(*(ends[1] - ends[0])))


def test_a_rod_in_the_middle_of_the_foot():
    # Tube to plate 700 mm, foot 80 mm before the plate: M 1.1290, the 60 mm rod 483.9 pixels
    # of 0.14 mm, so 0.1240 mm of foot a pixel. Similar triangles.
    long_px = on_plate_px(ROD_MM, SID_MM - OID_MM)
    assert long_px == pytest.approx(483.9, abs=0.05)
    scale = marker_scale(rod_px(long_px), ROD_MM)
    assert (scale.state, scale.conflict, scale.warnings) == ("marker", False, ())
    assert scale.row_mm == pytest.approx(0.1240, abs=5e-5)
    assert scale.column_mm == scale.row_mm
    assert scale.relative_u == pytest.approx(math.sqrt(2) * 0.5 / 60)


def test_a_rod_on_the_near_wall_is_taken_back_to_the_middle():
    # The same rod 65 mm nearer the tube covers 540.5 pixels: read as if it lay in the middle,
    # 0.1110 mm a pixel, and a sole of 15 mm would come out as 13.43.
    long_px = on_plate_px(ROD_MM, SID_MM - OID_MM - 65.0)
    assert long_px == pytest.approx(540.5, abs=0.05)
    naive = marker_scale(rod_px(long_px), ROD_MM)
    assert naive.row_mm == pytest.approx(0.1110, abs=5e-5)
    sole_px = 15.0 / (PITCH_MM * (SID_MM - OID_MM) / SID_MM)
    assert sole_px * naive.row_mm == pytest.approx(13.43, abs=0.005)
    right = marker_scale(
        rod_px(long_px), ROD_MM, plane="tube_side", offset_mm=65.0, sid_mm=SID_MM, oid_mm=OID_MM
    )
    assert right.state == "marker"
    assert sole_px * right.row_mm == pytest.approx(15.0, abs=1e-9)


@given(
    oid=st.floats(60, 200),
    offset=st.floats(1, 55),
    plane=st.sampled_from(["tube_side", "plate_side", "sagittal"]),
    turn=st.floats(0, 360),
    length=st.floats(10, 200),
)
def test_a_rod_in_any_plane_gives_the_spacing_in_the_foots_middle(oid, offset, plane, turn, length):
    away = {"tube_side": -offset, "plate_side": offset, "sagittal": 0.0}[plane]
    ends = rod_px(on_plate_px(length, SID_MM - oid + away), turn)
    scale = marker_scale(ends, length, plane=plane, offset_mm=offset, sid_mm=SID_MM, oid_mm=oid)
    assert scale.row_mm == pytest.approx(PITCH_MM * (SID_MM - oid) / SID_MM, rel=1e-9)


@given(turn=st.floats(0, 360), row=st.floats(0.05, 1), column=st.floats(0.05, 1))
def test_a_rod_measures_its_own_length_on_pixels_that_are_not_square(turn, row, column):
    ends = rod_px(400.0, turn)
    scale = marker_scale(ends, 50.0, pixel_aspect=(row, column))
    assert length_mm(scale, ends) == pytest.approx(50.0)
    assert scale.row_mm / scale.column_mm == pytest.approx(row / column)
    assert scale.aspect == (scale.row_mm, scale.column_mm)


def test_a_rod_in_a_plane_nobody_knows_is_an_estimate():
    scale = marker_scale(rod_px(480.0), 60.0, plane="unknown")
    assert (scale.state, scale.relative_u) == ("estimated", 0.05)
    assert scale.row_mm == pytest.approx(0.125)
    assert len(scale.warnings) == 1


@pytest.mark.parametrize(
    ("said", "at"),
    [
        ({"ends_px": [[1.0, 2.0], [1.0, 2.0]]}, "film.scale.ends_px"),
        ({"ends_px": [[1.0, math.nan], [1.0, 2.0]]}, "film.scale.ends_px"),
        ({"length_mm": 0.0}, "film.scale.length_mm"),
        ({"length_mm": math.inf}, "film.scale.length_mm"),
        ({"plane": "elsewhere"}, "film.scale.plane"),
        ({"plane": "tube_side"}, "film.scale.offset_mm"),
        ({"plane": "tube_side", "offset_mm": 65.0}, "film.scale.offset_mm"),
        ({"plane": "tube_side", "offset_mm": 65.0, "sid_mm": 700.0}, "film.scale.offset_mm"),
        (
            {"plane": "tube_side", "offset_mm": -1.0, "sid_mm": 700.0, "oid_mm": 80.0},
            "film.scale.offset_mm",
        ),
        (
            {"plane": "plate_side", "offset_mm": 81.0, "sid_mm": 700.0, "oid_mm": 80.0},
            "film.scale.offset_mm",
        ),
        (
            {"plane": "plate_side", "offset_mm": 9.0, "sid_mm": 700.0, "oid_mm": 700.0},
            "film.scale.oid_mm",
        ),
        (
            {"plane": "plate_side", "offset_mm": 9.0, "sid_mm": 0.0, "oid_mm": 80.0},
            "film.scale.sid_mm",
        ),
        ({"pixel_aspect": (0.0, 1.0)}, "film.scale.pixel_aspect"),
    ],
)
def test_a_marker_that_cannot_be_says_which_value(said, at):
    given_values = {"ends_px": rod_px(480.0), "length_mm": 60.0} | said
    with pytest.raises(BadScale) as caught:
        marker_scale(**given_values)
    assert caught.value.at == at


def test_a_stated_spacing():
    fiducial = spacing_scale(0.12, 0.13, "corrected", "FIDUCIAL")
    assert (fiducial.row_mm, fiducial.column_mm, fiducial.relative_u) == (0.12, 0.13, 0.01)
    assert spacing_scale(0.12, 0.13, "corrected", "geometry").relative_u == 0.05
    assert spacing_scale(0.12, 0.13, "corrected").relative_u == 0.05
    assert spacing_scale(0.12, 0.13, "estimated", "fiducial").relative_u == 0.05
    none = spacing_scale(0.12, 0.13, "none")
    assert (none.state, none.row_mm, none.column_mm) == ("none", None, None)
    assert none.aspect == (0.12, 0.13)
    for state in ("marker", ""):
        with pytest.raises(BadScale, match="state"):
            spacing_scale(0.12, 0.13, state)
    for row, column in ((0.0, 0.1), (0.1, -0.1), (math.nan, 0.1)):
        with pytest.raises(BadScale, match="positive"):
            spacing_scale(row, column, "corrected")


def test_detector_spacing_over_a_magnification():
    both = detector_scale(0.14, 0.14, magnification=700 / 620, sid_mm=700.0, oid_mm=80.0)
    assert (both.state, both.conflict, len(both.sources)) == ("estimated", False, 3)
    assert both.row_mm == pytest.approx(0.1240, abs=5e-5)
    apart = detector_scale(0.14, 0.14, magnification=1.2, sid_mm=700.0, oid_mm=80.0)
    assert (apart.state, apart.conflict, apart.row_mm) == ("none", True, None)
    assert [round(each.row_mm, 4) for each in apart.sources] == [0.1167, 0.1240, 0.14]
    bare = detector_scale(0.14, 0.15, sid_mm=700.0)
    assert (bare.state, bare.row_mm, bare.aspect) == ("none", None, (0.14, 0.15))
    for wrong in (0.9, math.nan):
        with pytest.raises(BadScale, match="at least 1"):
            detector_scale(0.14, 0.14, magnification=wrong)


def test_no_scale_keeps_the_pixels_shape():
    assert no_scale((4.0, 3.0)).aspect == (4.0, 3.0)
    with pytest.raises(BadScale, match="pixel_aspect"):
        no_scale((math.nan, 1.0))


def test_a_marker_outranks_an_estimate_and_warns_when_far_off():
    rod = marker_scale(rod_px(480.0), 60.0)
    near = beside_marker(rod, spacing_scale(0.13, 0.13, "estimated"))
    assert (near.state, near.row_mm, near.warnings) == ("marker", 0.125, ())
    assert len(near.sources) == 2
    far = beside_marker(rod, spacing_scale(0.14, 0.14, "estimated"))
    assert (far.state, far.row_mm, far.conflict) == ("marker", 0.125, False)
    assert "12% apart" in far.warnings[0]


def test_a_marker_and_a_corrected_spacing_must_agree():
    # Allowed: the larger of 2 % and twice the root of the sum of squares of both u.
    rod = marker_scale(rod_px(480.0), 60.0)
    allowed = 2 * math.hypot(rod.relative_u, 0.01)
    for apart, conflict in ((allowed - 0.001, False), (allowed + 0.001, True)):
        spacing = 0.125 * (1 + apart)
        both = beside_marker(rod, spacing_scale(spacing, spacing, "corrected", "fiducial"))
        assert both.conflict is conflict
        assert both.state == ("none" if conflict else "marker")
        assert both.row_mm == (None if conflict else 0.125)
        assert len(both.sources) == 2
    sure = marker_scale(rod_px(480.0), 60.0, end_sd_mm=0.0)
    loose = spacing_scale(0.125 * 1.019, 0.125 * 1.019, "corrected", "fiducial")
    assert not beside_marker(sure, loose).conflict


def test_a_marker_beside_a_film_that_says_nothing_or_contradicts_itself():
    rod = marker_scale(rod_px(480.0), 60.0)
    assert beside_marker(rod, no_scale()) == rod
    torn = detector_scale(0.14, 0.14, magnification=1.2, sid_mm=700.0, oid_mm=80.0)
    kept = beside_marker(rod, torn)
    assert (kept.state, kept.row_mm, kept.conflict) == ("marker", 0.125, False)
    assert kept.warnings == torn.warnings


def test_a_marker_in_an_unknown_plane_is_one_estimate_among_others():
    rod = marker_scale(rod_px(480.0), 60.0, plane="unknown")
    assert beside_marker(rod, no_scale()).state == "estimated"
    corrected = beside_marker(rod, spacing_scale(0.12, 0.12, "corrected", "fiducial"))
    assert (corrected.state, corrected.row_mm) == ("corrected", 0.12)
    apart = beside_marker(rod, spacing_scale(0.12, 0.12, "estimated"))
    assert (apart.state, apart.conflict) == ("none", True)
    assert len(apart.warnings) == 2


def test_a_length_is_the_same_wherever_a_calibrated_scale_is_used():
    # A vertical line of 240 pixels at 0.190840 mm each.
    scale = spacing_scale(0.190840, 0.190840, "corrected")
    assert length_mm(scale, [[10.0, 10.0], [10.0, 250.0]]) == pytest.approx(45.802, abs=5e-4)


# Source: similar triangles, M = SID / (SID - OID).
@pytest.mark.parametrize(
    ("sid_mm", "factors"),
    [
        (600.0, (1.111, 1.132, 1.154, 1.200)),
        (700.0, (1.094, 1.111, 1.129, 1.167)),
        (900.0, (1.071, 1.084, 1.098, 1.125)),
        (1000.0, (1.064, 1.075, 1.087, 1.111)),
    ],
)
def test_the_magnification_at_usual_distances(sid_mm, factors):
    for oid_mm, factor in zip((60.0, 70.0, 80.0, 100.0), factors, strict=True):
        scale = detector_scale(0.14, 0.14, sid_mm=sid_mm, oid_mm=oid_mm)
        assert 0.14 / scale.row_mm == pytest.approx(factor, abs=5e-4)


def test_a_sole_read_on_the_plate_passes_a_limit_that_it_does_not_meet():
    # Tube to plate 700, foot 60 mm before it: a sole of 14.0 mm covers 15.3 mm of the plate.
    sole_px = 14.0 * 700.0 / 640.0 / PITCH_MM
    bare = detector_scale(PITCH_MM, PITCH_MM)
    assert sole_px * PITCH_MM == pytest.approx(15.3, abs=0.05)
    assert (bare.state, bare.row_mm) == ("none", None)
    right = detector_scale(PITCH_MM, PITCH_MM, sid_mm=700.0, oid_mm=60.0)
    assert sole_px * right.row_mm == pytest.approx(14.0)
    assert right.state == "estimated"


# Source: similar triangles; tube to foot 620 mm.
@pytest.mark.parametrize(
    ("plane", "offset_mm", "reads"),
    [
        ("tube_side", 65.0, 0.895),
        ("tube_side", 30.0, 0.952),
        ("tube_side", 10.0, 0.984),
        ("plate_side", 65.0, 1.105),
    ],
)
def test_a_marker_off_the_middle_makes_every_length_read_short_or_long(plane, offset_mm, reads):
    away = -offset_mm if plane == "tube_side" else offset_mm
    ends = rod_px(on_plate_px(ROD_MM, 620.0 + away))
    naive = marker_scale(ends, ROD_MM)
    put_right = marker_scale(
        ends, ROD_MM, plane=plane, offset_mm=offset_mm, sid_mm=SID_MM, oid_mm=OID_MM
    )
    assert naive.row_mm / put_right.row_mm == pytest.approx(reads, abs=5e-4)


# Plane geometry: a rod out of the picture's plane by an angle covers its cosine.
@pytest.mark.parametrize(
    ("tilt_deg", "over"), [(5.0, 0.004), (10.0, 0.015), (15.0, 0.035), (20.0, 0.064)]
)
def test_a_tilted_rod_makes_every_length_read_long(tilt_deg, over):
    straight = marker_scale(rod_px(480.0), ROD_MM)
    tilted = marker_scale(rod_px(480.0 * math.cos(math.radians(tilt_deg))), ROD_MM)
    assert tilted.row_mm / straight.row_mm - 1.0 == pytest.approx(over, abs=5e-4)
