"""Pixels to millimetres, the foot's frame, points placed on a smaller copy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.errors import CoreError, DegenerateLine
from referral.core.geometry.frames import (
    foot_frame,
    from_copy,
    pixels_to_mm,
    shown_size,
    square_stretch,
)
from referral.core.geometry.lines import slope_deg, undirected_deg
from referral.core.geometry.points import distance

COORDINATES = st.floats(-500.0, 500.0, allow_nan=False)


def below_horizontal_deg(start_px, end_px, row, column):
    start, end = pixels_to_mm(np.array([start_px, end_px], float), row, column)
    # The picture's y points down, so the slope from end back to start counts downwards.
    return float(slope_deg(end * [-1, -1], start * [-1, -1]))


def test_the_first_spacing_is_between_rows():
    # Source: DICOM PS3.3 section 10.7.1.3.
    corner = pixels_to_mm(np.array([600.0, 800.0]), 0.5954, 0.5454)
    assert corner == pytest.approx([327.24, 476.32], abs=5e-3)
    start, end = pixels_to_mm(np.array([[100.0, 100.0], [400.0, 500.0]]), 0.10, 0.20)
    assert float(distance(start, end)) == pytest.approx(72.111, abs=5e-4)


@pytest.mark.parametrize(
    ("start", "end", "row", "column", "wanted"),
    [
        ((600, 300), (2400, 675), 1.0, 1.0, 11.768),
        ((0, 0), (1600 * 0.5, 1600 * 0.5 * math.tan(math.radians(1.0))), 1.0, 1.0, 1.0),
        ((100, 100), (400, 500), 0.10, 0.20, 33.690),
        ((0, 0), (100, 100), 4.0, 3.0, 53.130),
        ((10.2, 10.2), (110.9, 60.1), 1.0, 1.0, 26.360),
    ],
    ids=[
        "pixels, not fractions",
        "a slope of one degree",
        "spacing",
        "aspect 4:3",
        "never rounded",
    ],
)
def test_angles_are_taken_on_scaled_pixels(start, end, row, column, wanted):
    found = abs(below_horizontal_deg(start, end, row, column))
    assert min(found, 180.0 - found) == pytest.approx(wanted, abs=5e-4)


def test_a_wall_on_unequal_spacing_reads_its_true_angle():
    upper, lower = pixels_to_mm(np.array([[640.0, 610.0], [820.0, 900.0]]), 0.10, 0.20)
    up = np.array([1.0, -1.0])
    assert float(undirected_deg(upper * up, lower * up)) == pytest.approx(38.853, abs=5e-4)


@given(st.lists(st.tuples(COORDINATES, COORDINATES), min_size=3, max_size=3))
def test_to_the_foot_and_back_is_where_it_was(raw):
    rear, front, above = np.array(raw)
    run = front - rear
    length = math.hypot(*run)
    height = abs(run[0] * (above - rear)[1] - run[1] * (above - rear)[0])
    if length < 1.0 or height < length:
        return
    frame = foot_frame(rear, front, above)
    points = np.array([rear, front, above])
    foot = frame.to_foot(points)
    assert foot[0] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert foot[1] == pytest.approx([length, 0.0], abs=1e-8)
    assert foot[2, 1] > 0.0
    np.testing.assert_allclose(frame.to_picture(foot), points, atol=1e-8)


def test_ground_points_on_one_spot_make_no_frame():
    spot = np.array([5.0, 5.0])
    with pytest.raises(DegenerateLine, match="ground points"):
        foot_frame(spot, spot, np.zeros(2))


def test_a_foot_on_its_ground_line_has_no_up():
    with pytest.raises(DegenerateLine, match="must be above it"):
        foot_frame(np.zeros(2), np.array([9.0, 0.0]), np.array([4.0, 0.0]))


def test_points_on_a_copy_are_put_back_in_the_original():
    placed = np.array([[300.0, 200.0], [384.0, 200.0]])
    back = from_copy(placed, (1200, 960), (3000, 2400))
    assert back.tolist() == [[750.0, 500.0], [960.0, 500.0]]
    assert float(distance(*pixels_to_mm(back, 0.10, 0.10))) == pytest.approx(21.0)


def test_a_copy_of_nearly_the_same_proportions_is_taken():
    found = from_copy(np.array([1.0, 1.0]), (930, 1248), (3600, 4831))
    assert found == pytest.approx([3.87097, 3.87099], abs=5e-6)


@given(
    original=st.tuples(st.integers(800, 6000), st.integers(800, 6000)),
    shrink=st.floats(0.25, 1.0),
    share=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
)
def test_a_place_on_any_copy_is_the_same_place_of_the_original(original, shrink, share):
    copy = tuple(max(round(side * shrink), 1) for side in original)
    placed = np.array(share) * copy
    back = from_copy(placed, copy, original)
    assert back == pytest.approx(np.array(share) * original, abs=1e-6)


@pytest.mark.parametrize("copy", [(1200, 900), (0, 960), (1200, -1)])
def test_a_copy_of_other_proportions_is_refused(copy):
    with pytest.raises(CoreError):
        from_copy(np.array([1.0, 1.0]), copy, (3000, 2400))


@pytest.mark.parametrize(
    ("aspect", "shown"),
    [((4.0, 3.0), (256.0, 160.0)), ((3.0, 4.0), (256 * 4 / 3, 120.0)), ((0.2, 0.2), (256, 120))],
)
def test_a_picture_is_shown_with_square_pixels(aspect, shown):
    # Source: DICOM PS3.3 section C.7.6.3.1.7, vertical size of a pixel before its horizontal one.
    assert shown_size((256, 120), aspect) == pytest.approx(shown)
    assert min(square_stretch(aspect)) == 1.0
    width, height = pixels_to_mm(np.array([256.0, 120.0]), *aspect)
    assert shown[0] / shown[1] == pytest.approx(width / height)
