"""What the spacing that is written in a whole DICOM file means for a length of 400 pixels."""

import math

import numpy as np
import pytest

from referral.core.geometry.frames import pixels_to_mm
from referral.core.geometry.lines import slope_deg
from referral.core.measure.film import Film, measure
from referral.storage.decode.film import read_film
from tests.features.decode.files import LARGE, film_bytes, read

GREY = np.arange(12, dtype=np.uint16).reshape(3, 4) * 300
PLATE = {"ImagerPixelSpacing": ["0.150", "0.150"]}
FACTOR = {"EstimatedRadiographicMagnificationFactor": "1.2"}
FROM, TO = (100.0, 200.0), (500.0, 200.0)


def distances(to_detector, to_foot):
    return {"DistanceSourceToDetector": to_detector, "DistanceSourceToPatient": to_foot}


def length_mm(row_mm, column_mm):
    return math.dist(*pixels_to_mm(np.array([FROM, TO]), row_mm, column_mm))


# Source: DICOM PS3.3 section 10.7 and C.8.7.10 (imager pixel spacing is at the detector's plate).
@pytest.mark.parametrize(
    ("said", "state", "length", "conflict"),
    [
        (PLATE, "none", None, False),
        (PLATE | FACTOR, "estimated", 50.0, False),
        (PLATE | distances("1000", "900"), "estimated", 54.0, False),
        (PLATE | FACTOR | distances("1000", "900"), "none", None, True),
        (PLATE | distances("1000", "0"), "none", None, False),
        (PLATE | distances("1000", None), "none", None, False),
        (PLATE | distances("1000", ""), "none", None, False),
        (PLATE | distances("1000", "1100"), "none", None, False),
        (PLATE | distances("+1450.0", "1305"), "estimated", 54.0, False),
    ],
    ids=["plate", "factor", "distances", "both", "0", "absent", "empty", "beyond", "plus"],
)
def test_the_state_of_the_scale_and_the_length(said, state, length, conflict):
    scale = read(GREY, **said).scale
    assert (scale.state, scale.conflict) == (state, conflict)
    if length is None:
        assert scale.row_mm is scale.column_mm is None
    else:
        assert length_mm(scale.row_mm, scale.column_mm) == pytest.approx(length)


def test_a_conflict_shows_every_source_and_chooses_none():
    scale = read(GREY, **PLATE, **FACTOR, **distances("1000", "900")).scale
    shown = {
        each.origin: round(length_mm(each.row_mm, each.column_mm), 1) for each in scale.sources
    }
    assert sorted(shown.values()) == [50.0, 54.0, 60.0]
    assert "neither is used" in scale.warnings[0]


def test_a_length_is_never_shown_at_the_plate_and_an_angle_always():
    film = read(np.zeros((1000, 1000), np.uint16), **PLATE)
    points = {
        "ground_palmar": (100, 900),
        "ground_dorsal": (900, 900),
        "p3_tip": (600, 800),
        "p3_palmar_process": (200, 760),
    }
    found = measure(Film("lateromedial", points, None, film.scale, film.size_px))
    assert found.absent["tip_to_ground_mm"].startswith("no scale:")
    angle = found.readings["palmar_angle_deg"].value
    assert angle == pytest.approx(math.degrees(math.atan2(40, 400)))


# Source: DICOM PS3.3 section 10.7.1.3: rows come first.
def test_an_oblong_film_of_unequal_spacing_has_its_true_sides():
    film = read(
        np.zeros((800, 600), np.uint16),
        PixelSpacing=["0.5954", "0.5454"],
        PixelSpacingCalibrationType="GEOMETRY",
    )
    assert film.size_px == (600, 800)
    sides = pixels_to_mm(np.array([600.0, 800.0]), film.scale.row_mm, film.scale.column_mm)
    assert sides == pytest.approx([327.24, 476.32])


@pytest.mark.parametrize(
    ("said", "points", "angle_deg"),
    [
        (
            {"PixelSpacing": ["0.10", "0.20"], "PixelSpacingCalibrationType": "FIDUCIAL"},
            [(100, 100), (400, 500)],
            33.690,
        ),
        ({"PixelAspectRatio": ["4", "3"]}, [(0, 0), (100, 100)], 53.130),
        ({"PixelSpacing": ["0.10", "0.20"]}, [(640, 610), (820, 900)], 38.853),
        ({"PixelSpacing": ["0.000", "0.000"]}, [(10.2, 10.2), (110.9, 60.1)], 26.360),
        ({}, [(10.2, 10.2), (110.9, 60.1)], 26.360),
    ],
    ids=["corrected", "aspect", "spacing of unknown origin", "zero spacing", "nothing said"],
)
def test_lengths_and_angles_have_one_spacing(said, points, angle_deg):
    scale = read(GREY, **said).scale
    upper, lower = pixels_to_mm(np.array(points, float), *scale.aspect) * (1.0, -1.0)
    assert float(slope_deg(upper, lower)) == pytest.approx(angle_deg, abs=5e-4)
    if scale.row_mm is not None:
        assert scale.aspect == (scale.row_mm, scale.column_mm)


def test_a_real_plate_of_zero_spacing_has_angles_of_square_pixels():
    film = read_film((LARGE / "RG1_UNCR.dcm").read_bytes(), "RG1_UNCR.dcm")
    assert (film.scale.state, film.scale.aspect) == ("none", (1.0, 1.0))
    assert film.scale_tags.distance_source_to_detector is not None


def test_a_decimal_comma_in_the_spacing_is_no_number_and_no_error():
    data = film_bytes(GREY, PixelSpacing=["9.12345678", "9.12345678"])
    stands = b"9.12345678\\9.12345678 "
    assert data.count(stands) == 1
    film = read_film(data.replace(stands, rb"0,143\0,143".ljust(len(stands))), "film.dcm")
    assert (film.scale.state, film.scale.row_mm) == ("none", None)
    assert "cannot be used" in film.scale.warnings[0]
