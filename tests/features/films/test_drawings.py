"""Each landmark of a view has a part of the view's drawing, with its own dot in the middle."""

import xml.etree.ElementTree as ET

import pytest

from referral.core.measure.landmarks import LANDMARKS
from referral.films.pages import DRAWINGS
from tests.house.tree import ROOT

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("view", sorted(DRAWINGS))
def test_the_part_of_a_landmark_has_its_numbered_dot_in_the_middle(view):
    root = ET.parse(ROOT / "static" / DRAWINGS[view]).getroot()
    parts = {each.get("id"): each.get("viewBox") for each in root.iter(f"{SVG}view")}
    dots = [(float(dot.get("cx")), float(dot.get("cy"))) for dot in root.iter(f"{SVG}circle")]
    labels = {
        text.text: (float(text.get("x")), float(text.get("y"))) for text in root.iter(f"{SVG}text")
    }
    assert set(parts) == set(LANDMARKS[view])
    for number, name in enumerate(LANDMARKS[view], start=1):
        left, top, width, height = (float(each) for each in parts[name].split())
        middle = (left + width / 2, top + height / 2)
        assert middle in dots
        label = labels[str(number)]
        assert abs(label[0] - middle[0]) < width / 2
        assert abs(label[1] - middle[1]) < height / 2
