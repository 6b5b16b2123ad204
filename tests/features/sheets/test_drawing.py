"""The plan drawing: well-formed, true to its numbers, the right way round."""

import math
import re
from xml.etree import ElementTree as ET

import pytest

from referral.core.predict.plan import Plan, Shoe
from referral.sheets.drawing import drawn_from, shod_svg, sole_svg, trim_svg
from referral.sheets.snapshot import DrawnPlan
from referral.web.fonts import unprintable_characters

SVG = "{http://www.w3.org/2000/svg}"
CATEGORIES = (None, "open", "straight_bar", "egg_bar", "heart_bar", "egg_heart", "rocker")


def polygons(svg: str) -> list[list[tuple[float, float]]]:
    found = ET.fromstring(svg).iter(f"{SVG}polygon")
    return [
        [tuple(map(float, pair.split(","))) for pair in each.attrib["points"].split()]
        for each in found
    ]


def words(svg: str) -> dict[str, ET.Element]:
    return {each.text: each for each in ET.fromstring(svg).iter(f"{SVG}text")}


@pytest.mark.parametrize("category", CATEGORIES)
@pytest.mark.parametrize("limb", ["LF", "RH"])
def test_every_category_draws(category, limb):
    plan = DrawnPlan(
        limb,
        category,
        toe_trim_mm=3,
        heel_trim_mm=1,
        wedge_deg=2,
        pad_mm=4,
        thickness_mm=9,
        breakover_setback_mm=12,
        toe_dress_mm=2,
        lateral_extension_mm=6,
    )
    for svg in (trim_svg(plan), shod_svg(plan), sole_svg(plan)):
        root = ET.fromstring(svg)
        assert len(root.attrib["viewBox"].split()) == 4
        assert not unprintable_characters("".join(root.itertext()))
        assert not re.search("nan|inf", svg)


def test_the_hatched_strip_is_as_deep_as_the_trims():
    (cut,) = polygons(trim_svg(DrawnPlan("LF", None, toe_trim_mm=2, heel_trim_mm=5)))
    toe, heel, heel_cut, toe_cut = cut
    assert toe[1] - toe_cut[1] == pytest.approx(2)
    assert heel[1] - heel_cut[1] == pytest.approx(5)


def test_the_wedge_opens_backwards_by_its_angle():
    plan = DrawnPlan("LF", "open", wedge_deg=3, thickness_mm=10, bearing_length_mm=150)
    wedge = polygons(shod_svg(plan))[-1]
    (toe, heel, base) = wedge
    assert heel[0] < toe[0]
    angle = math.degrees(math.atan2(base[1] - heel[1], toe[0] - heel[0]))
    assert angle == pytest.approx(3, abs=0.1)
    assert toe[1] == pytest.approx(-10)


def test_the_shoe_shows_breakover_and_heel_where_the_plan_puts_them():
    plan = DrawnPlan(
        "LF",
        "open",
        thickness_mm=10,
        breakover_setback_mm=20,
        heel_extension_mm=8,
        bearing_length_mm=140,
    )
    shoe = polygons(shod_svg(plan))[0]
    ground = [x for x, y in shoe if y == 0]
    assert max(ground) == pytest.approx(-20)
    assert min(ground) == pytest.approx(-148)


@pytest.mark.parametrize(("limb", "left"), [("LF", "medial"), ("RF", "lateral")])
def test_seen_from_below_the_inside_of_a_left_foot_is_on_the_left(limb, left):
    labels = words(sole_svg(DrawnPlan(limb, "open")))
    at = {text: float(each.attrib["x"]) for text, each in labels.items()}
    other = ({"medial", "lateral"} - {left}).pop()
    assert at[left] < at[other]


def test_a_barefoot_plan_says_so_and_shows_no_shoe():
    svg = shod_svg(DrawnPlan("LF", None, toe_trim_mm=2))
    assert "barefoot" in words(svg)
    assert polygons(svg) == []


def test_the_drawing_takes_its_numbers_from_the_plan():
    plan = Plan(
        toe_trim_mm=2,
        heel_trim_mm=5,
        wedge_deg=3,
        pad_mm=1,
        shoe=Shoe(
            "egg_bar",
            web_mm=22,
            thickness_mm=10,
            breakover_setback_mm=20,
            heel_extension_mm=8,
            medial_extension_mm=2,
        ),
    )
    drawn = drawn_from(plan, "RF", wall_angle_deg=48)
    assert (drawn.limb, drawn.category, drawn.wall_angle_deg) == ("RF", "egg_bar", 48)
    assert (drawn.toe_trim_mm, drawn.heel_trim_mm, drawn.wedge_deg, drawn.pad_mm) == (2, 5, 3, 1)
    assert (drawn.thickness_mm, drawn.web_mm, drawn.breakover_setback_mm) == (10, 22, 20)
    assert drawn_from(Plan(), "LF").category is None
