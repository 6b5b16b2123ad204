"""A drawn sole photo: placing its landmarks gives back the foot that was drawn."""

import io

import numpy as np
import pytest
from PIL import Image

from referral.core.geometry.scale import no_scale
from referral.core.measure.film import Film, measure
from referral.films.phantom_sole import MM_A_PIXEL, SIZE_PX, Sole, draw_sole

UNDER_RUN = Sole(138.0, 131.0, 52.0, 70.0, 78.0, 58.0, -6.0, 5.0)


def readings(drawn):
    film = Film(
        "sole_photo",
        drawn.landmarks_px,
        None,
        no_scale(),
        SIZE_PX,
        scale_length_mm=drawn.known_length_mm,
    )
    return measure(film).readings


@pytest.mark.parametrize("lateral_right", [True, False])
def test_its_readings_are_the_foot_that_was_drawn(lateral_right):
    found = readings(draw_sole(UNDER_RUN, lateral_right=lateral_right))
    for code, value in (
        ("foot_length_mm", 138.0),
        ("foot_width_mm", 131.0 + 5.0),
        ("heel_to_widest_mm", 52.0),
        ("half_width_lateral_mm", 131.0 / 2 + 5.0),
        ("half_width_medial_mm", 131.0 / 2),
        ("heel_to_frog_widest_mm", -6.0),
        ("frog_width_length_ratio", 58.0 / 78.0),
    ):
        assert found[code].value == pytest.approx(value, abs=0.01), code


def grey(drawn):
    return np.asarray(Image.open(io.BytesIO(drawn.jpeg)).convert("L"), float)


def edge_along(pixels, at_px, way):
    """Return how far from a place the steepest change of grey lies, in pixels along a way."""
    steps = np.arange(-12.0, 12.5, 0.5)
    places = np.array(at_px) + steps[:, None] * np.array(way)
    across = np.array([-way[1], way[0]]) * np.arange(-6, 7)[:, None]
    columns, rows = (places[:, None] + across).round().astype(int).transpose(2, 0, 1)
    profile = np.convolve(pixels[rows, columns].mean(axis=1), np.ones(5) / 5, mode="same")
    slope = np.abs(np.gradient(profile))[6:-6]
    return steps[6:-6][int(np.argmax(slope))]


@pytest.mark.parametrize(
    ("name", "way"), [("toe", (0, -1)), ("widest_medial", (-1, 0)), ("widest_lateral", (1, 0))]
)
def test_the_walls_edge_is_drawn_where_its_landmark_stands(name, way):
    drawn = draw_sole(UNDER_RUN)
    assert abs(edge_along(grey(drawn), drawn.landmarks_px[name], way)) <= 1.5


def test_the_ruler_is_as_long_as_it_says():
    """Ten centimetres at 0.2 mm a pixel are 500 pixels, and its ends are the darkest rows there."""
    drawn = draw_sole(Sole())
    a, b = drawn.landmarks_px["scale_a"], drawn.landmarks_px["scale_b"]
    assert a[1] - b[1] == pytest.approx(drawn.known_length_mm / MM_A_PIXEL)
    pixels = grey(drawn)
    for x, y in (a, b):
        rows = pixels[round(y) - 12 : round(y) + 13, round(x) - 30 : round(x) + 31].mean(axis=1)
        assert abs(int(np.argmin(rows)) - 12) <= 1
