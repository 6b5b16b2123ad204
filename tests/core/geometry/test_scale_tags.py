"""What a DICOM file's own attributes say of its scale, as the strings that stand in it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.geometry.frames import pixels_to_mm
from referral.core.geometry.scale import ScaleTags, scale_from_tags

PLATE = r"0.150\0.150"
LENGTH_PX = 400.0


def read(**tags):
    return scale_from_tags(ScaleTags(**tags))


def state_and_length(scale):
    """The state, and what 400 pixels are in it."""
    return scale.state, None if scale.row_mm is None else round(scale.row_mm * LENGTH_PX, 1)


def test_detector_spacing_alone_is_no_scale_of_the_foot():
    scale = read(imager_pixel_spacing=PLATE)
    assert (scale.state, scale.row_mm, scale.column_mm, scale.conflict) == (
        "none",
        None,
        None,
        False,
    )
    assert [(each.origin, each.row_mm * LENGTH_PX) for each in scale.sources] == [
        ("detector spacing", 60.0)
    ]


def test_detector_spacing_over_the_stated_magnification_is_an_estimate():
    scale = read(imager_pixel_spacing=PLATE, magnification="1.2")
    assert (state_and_length(scale), scale.relative_u) == (("estimated", 50.0), 0.05)


def test_detector_spacing_over_the_distances_is_an_estimate():
    scale = read(
        imager_pixel_spacing=PLATE,
        distance_source_to_detector="1000",
        distance_source_to_patient="900",
    )
    assert state_and_length(scale) == ("estimated", 54.0)


def test_two_estimates_that_disagree_are_a_conflict_with_both_shown():
    scale = read(
        imager_pixel_spacing=PLATE,
        magnification="1.2",
        distance_source_to_detector="1000",
        distance_source_to_patient="900",
    )
    assert (scale.state, scale.row_mm, scale.conflict) == ("none", None, True)
    shown = [round(each.row_mm * LENGTH_PX, 1) for each in scale.sources]
    assert sorted(shown) == [50.0, 54.0, 60.0]
    assert len(scale.warnings) == 1


@pytest.mark.parametrize(("apart", "conflict"), [(0.019, False), (0.021, True)])
def test_estimates_may_differ_by_two_percent(apart, conflict):
    scale = read(
        imager_pixel_spacing=PLATE,
        magnification=str(1.2 * (1 + apart)),
        distance_source_to_detector="1200",
        distance_source_to_patient="1000",
    )
    assert scale.conflict is conflict


@pytest.mark.parametrize("distance", ["0", "", None, "1100", "-900", "nan", "n/a"])
def test_impossible_distances_are_passed_over(distance):
    scale = read(
        imager_pixel_spacing=PLATE,
        distance_source_to_detector="1000",
        distance_source_to_patient=distance,
    )
    assert (scale.state, scale.conflict) == ("none", False)


@pytest.mark.parametrize("factor", ["0", "0.9", "", "inf", "1,2"])
def test_an_impossible_magnification_is_passed_over(factor):
    assert read(imager_pixel_spacing=PLATE, magnification=factor).state == "none"


def test_a_leading_plus_is_part_of_a_number():
    scale = read(
        imager_pixel_spacing=PLATE,
        distance_source_to_detector="+1450.0",
        distance_source_to_patient="1305",
    )
    assert state_and_length(scale) == ("estimated", 54.0)


def test_the_first_of_a_pair_is_the_row():
    scale = read(pixel_spacing=r"0.5954\0.5454", calibration_type="GEOMETRY")
    wide, high = pixels_to_mm([600.0, 800.0], scale.row_mm, scale.column_mm)
    assert (wide, high) == (pytest.approx(327.24), pytest.approx(476.32))
    scale = read(pixel_spacing=r"0.10\0.20", calibration_type="FIDUCIAL")
    across = pixels_to_mm([300.0, 400.0], scale.row_mm, scale.column_mm)
    assert math.hypot(*across) == pytest.approx(72.111, abs=5e-4)


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        r"0.000\0.000",
        "0.1",
        r"0.1\0.1\0.1",
        r"-0.1\-0.1",
        r"1e9\1e9",
        r"0,143\0,143",
        r"\0.1",
        r"nan\0.1",
        r"inf\inf",
        r"1_0\1_0",
        "0.1\\\u0661",
    ],
)
def test_a_spacing_that_says_nothing_is_no_scale_and_no_error(text):
    scale = read(pixel_spacing=text, calibration_type="FIDUCIAL")
    assert (scale.state, scale.row_mm, scale.aspect) == ("none", None, (1.0, 1.0))
    assert scale.sources == ()
    assert len(scale.warnings) == (1 if text else 0)
    assert all(text in each for each in scale.warnings)


def test_pixel_spacing_alone_is_of_unknown_origin():
    scale = read(pixel_spacing=r"0.10\0.20")
    assert (scale.state, scale.row_mm, scale.conflict) == ("none", None, False)
    assert scale.aspect == (0.10, 0.20)


def test_pixel_spacing_equal_to_the_detectors_is_not_corrected():
    scale = read(pixel_spacing=r"0.14\0.14", imager_pixel_spacing=r"0.140\0.140")
    assert (scale.state, scale.row_mm, scale.conflict) == ("none", None, False)
    assert len(scale.sources) == 2


def test_a_spacing_the_maker_corrected_is_used_alone():
    # The factor that the file also states is in the spacing already.
    scale = read(pixel_spacing=r"0.125\0.125", imager_pixel_spacing=PLATE, magnification="1.2")
    assert (state_and_length(scale), scale.relative_u) == (("corrected", 50.0), 0.05)


@pytest.mark.parametrize(
    ("calibration", "u"), [("FIDUCIAL", 0.01), ("GEOMETRY", 0.05), ("", 0.05), (None, 0.05)]
)
def test_how_sure_a_corrected_spacing_is(calibration, u):
    scale = read(
        pixel_spacing=r"0.125\0.125", imager_pixel_spacing=PLATE, calibration_type=calibration
    )
    assert (scale.state, scale.relative_u) == ("corrected", u)


def test_a_calibration_type_without_detector_spacing_is_corrected():
    scale = read(pixel_spacing=r"0.125\0.125", calibration_type="FIDUCIAL")
    assert (scale.state, scale.relative_u) == ("corrected", 0.01)


@pytest.mark.parametrize("plate", ["imager_pixel_spacing", "nominal_scanned_pixel_spacing"])
def test_a_calibration_type_beside_equal_spacings_is_a_conflict(plate):
    scale = read(pixel_spacing=PLATE, calibration_type="GEOMETRY", **{plate: PLATE})
    assert (scale.state, scale.row_mm, scale.conflict) == ("none", None, True)
    assert len(scale.sources) == 2
    assert len(scale.warnings) == 1


@pytest.mark.parametrize("pixel", [r"0.16\0.16", r"0.15\0.16", r"0.16\0.15"])
def test_a_corrected_spacing_larger_than_the_detectors_is_a_conflict(pixel):
    scale = read(pixel_spacing=pixel, imager_pixel_spacing=PLATE)
    assert (scale.state, scale.row_mm, scale.conflict) == ("none", None, True)


@pytest.mark.parametrize(("calibration", "conflict"), [("GEOMETRY", False), ("FIDUCIAL", True)])
def test_a_corrected_spacing_and_an_estimate_may_differ_by_twice_their_u(calibration, conflict):
    # 0.140 against 0.150 / 1.2 = 0.125: 12 % apart; allowed 14.1 % and 10.2 %.
    scale = read(
        pixel_spacing=r"0.140\0.140",
        imager_pixel_spacing=PLATE,
        calibration_type=calibration,
        magnification="1.2",
    )
    assert scale.conflict is conflict
    assert scale.state == ("none" if conflict else "corrected")


def test_the_spacing_of_a_scanned_film_is_no_scale():
    alone = read(nominal_scanned_pixel_spacing=r"0.2\0.3")
    assert (alone.state, alone.aspect, len(alone.sources)) == ("none", (0.2, 0.3), 1)
    equal = read(nominal_scanned_pixel_spacing=PLATE, pixel_spacing=PLATE)
    assert (equal.state, equal.conflict) == ("none", False)


def test_the_aspect_ratio_serves_where_there_is_no_spacing():
    assert read(pixel_aspect_ratio=r"4\3").aspect == (4.0, 3.0)
    assert read(pixel_aspect_ratio=r"4\3", pixel_spacing=r"0.1\0.2").aspect == (0.1, 0.2)
    assert read(pixel_aspect_ratio="4").aspect == (1.0, 1.0)


ANY_TEXT = (
    st.none()
    | st.text(max_size=12)
    | st.from_regex(r"[-+]?[0-9.e]{0,6}(\\[0-9.e]{0,6}){0,2}", fullmatch=True)
)


@given(tags=st.builds(ScaleTags, *[ANY_TEXT] * 8))
def test_whatever_stands_in_a_file_gives_a_scale_and_never_an_error(tags):
    scale = scale_from_tags(tags)
    assert (scale.row_mm is None) == (scale.column_mm is None) == (scale.state == "none")
    assert scale.state in {"corrected", "estimated", "none"}
    assert not (scale.conflict and scale.row_mm is not None)
    assert all(math.isfinite(each) and each > 0 for each in scale.aspect)
    if scale.row_mm is not None:
        assert 0 < scale.row_mm <= 10
        assert 0 < scale.column_mm <= 10
        assert 0 < scale.relative_u <= 0.05
