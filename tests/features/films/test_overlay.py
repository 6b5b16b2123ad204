"""What is drawn over a film stands where its landmarks are."""

import itertools
import math
import xml.etree.ElementTree as ET

import pytest

from referral.films.overlay import landmark_numbers, overlay_svg

SVG = "{http://www.w3.org/2000/svg}"
SIZE_PX = (3000, 2400)
GROUND = {"ground_palmar": [300.0, 2000.0], "ground_dorsal": [2700.0, 2000.0]}


def drawn(**given):
    return ET.fromstring(overlay_svg(**given))


def test_the_viewbox_is_the_film_and_each_dot_its_landmark():
    root = drawn(points_px={**GROUND, "p3_tip": [1900.25, 1790.5]}, size_px=SIZE_PX)
    assert root.get("viewBox") == "0 0 3000 2400"
    dots = {(float(dot.get("cx")), float(dot.get("cy"))) for dot in root.iter(f"{SVG}circle")}
    assert dots == {(300.0, 2000.0), (2700.0, 2000.0), (1900.2, 1790.5)}
    assert {text.text for text in root.iter(f"{SVG}text")} == {"1", "2", "5"}


def test_every_line_is_drawn_dark_and_then_light_over_it():
    root = drawn(points_px=GROUND, size_px=SIZE_PX)
    dark, light = root.findall(f"{SVG}line")
    assert float(dark.get("stroke-width")) > float(light.get("stroke-width"))
    assert [dark.get(end) for end in ("x1", "y1", "x2", "y2")] == [
        light.get(end) for end in ("x1", "y1", "x2", "y2")
    ]
    assert dark.get("stroke") != light.get("stroke")


def test_the_joint_centre_is_the_circles_and_its_plumb_line_meets_the_ground():
    """Three points of a circle of radius 200 about (1240, 1180), by its equation."""
    around = [(1240 + 200 * math.cos(a), 1180 + 200 * math.sin(a)) for a in (0.4, 1.5, 2.6)]
    root = drawn(points_px={**GROUND, "p2_condyle": around}, size_px=SIZE_PX)
    circle = root.find(f"{SVG}ellipse")
    assert float(circle.get("cx")) == pytest.approx(1240, abs=0.1)
    assert float(circle.get("cy")) == pytest.approx(1180, abs=0.1)
    assert float(circle.get("rx")) == float(circle.get("ry")) == pytest.approx(200, abs=0.1)
    plumb = root.findall(f"{SVG}line")[-1]
    assert float(plumb.get("x2")) == pytest.approx(1240, abs=0.1)
    assert float(plumb.get("y2")) == pytest.approx(2000, abs=0.1)


def test_tall_pixels_are_drawn_as_they_measure():
    """Pixels twice as high as wide: a round joint of radius 200 px across is 100 px high."""
    around = [(1240 + 200 * math.cos(a), 590 + 100 * math.sin(a)) for a in (0.4, 1.5, 2.6)]
    root = drawn(points_px={"p2_condyle": around}, size_px=SIZE_PX, pixel_aspect=(2.0, 1.0))
    circle = root.find(f"{SVG}ellipse")
    assert root.get("viewBox") == "0 0 3000 4800"
    assert float(circle.get("cx")) == pytest.approx(1240, abs=0.1)
    assert float(circle.get("cy")) == pytest.approx(2 * 590, abs=0.1)
    assert float(circle.get("rx")) == float(circle.get("ry")) == pytest.approx(200, abs=0.1)
    dots = [(float(dot.get("cx")), float(dot.get("cy"))) for dot in root.iter(f"{SVG}circle")]
    assert dots[-3:] == [pytest.approx((x, 2 * y), abs=0.06) for x, y in around]


def test_a_marker_on_wide_pixels_is_stretched_with_them():
    root = drawn(
        points_px={},
        size_px=(256, 120),
        marker_ends_px=[[100, 20], [200, 20]],
        pixel_aspect=(3.0, 4.0),
    )
    assert root.get("viewBox") == "0 0 341.333 120"
    line = root.find(f"{SVG}line")
    assert (line.get("x1"), line.get("x2")) == ("133.3", "266.7")


def test_too_few_points_or_points_in_a_row_draw_no_circle():
    for around in ([[1, 1], [2, 2]], [[1, 1], [2, 2], [3, 3]], []):
        assert (
            drawn(points_px={"p2_condyle": around}, size_px=SIZE_PX).find(f"{SVG}ellipse") is None
        )


def test_the_marker_is_drawn_between_its_ends():
    root = drawn(points_px={}, size_px=SIZE_PX, marker_ends_px=[[100, 200], [100, 900]])
    assert root.find(f"{SVG}line").get("y2") == "900.0"
    assert {text.text for text in root.iter(f"{SVG}text")} == {"A", "B"}


def test_landmarks_are_numbered_in_guided_order():
    numbers = landmark_numbers("lateromedial")
    assert (numbers["ground_palmar"], numbers["p2_condyle"], len(numbers)) == (1, 20, 25)
    assert landmark_numbers("sole") == {}


@pytest.mark.parametrize("at", [(2995.0, 1200.0), (1500.0, 3.0), (2999.0, 1.0), (1.0, 2399.0)])
def test_no_label_runs_out_of_the_picture(at):
    """A figure of the bold face is about 0.6 of its size wide, and 0.75 high."""
    root = drawn(points_px={"toe": at}, size_px=SIZE_PX)
    label = root.find(f"{SVG}text")
    size, x, y = (float(label.get(name)) for name in ("font-size", "x", "y"))
    run = 0.6 * size * len(label.text)
    left = x - run if label.get("text-anchor") == "end" else x
    assert left >= 0
    assert left + run <= SIZE_PX[0]
    assert y - 0.75 * size >= 0
    assert y <= SIZE_PX[1]


def test_labels_of_dots_that_lie_close_stand_apart_as_long_as_there_are_corners():
    close = {"toe": (1500, 1200), "p3_tip": (1510, 1205), "ground_palmar": (1495, 1196)}
    root = drawn(points_px=close, size_px=SIZE_PX, marker_ends_px=[[1502, 1199], [100, 900]])
    boxes = {}
    for label in root.iter(f"{SVG}text"):
        size, x, y = (float(label.get(name)) for name in ("font-size", "x", "y"))
        run = 0.6 * size * len(label.text)
        left = x - run if label.get("text-anchor") == "end" else x
        boxes[label.text] = (left, y - 0.75 * size, left + run, y)
    assert len(boxes) == 5
    for one, other in itertools.combinations(boxes.values(), 2):
        across = one[0] < other[2] and other[0] < one[2]
        assert not (across and one[1] < other[3] and other[1] < one[3])
