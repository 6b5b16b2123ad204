"""Outlines of shoes: against hand formulas, published bar areas, and what must hold of any shoe."""

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from referral.errors import Invalid
from referral.shoes.choices import CATEGORIES
from referral.shoes.outline import (
    EGGS,
    LOPSIDED,
    ShoeShape,
    ToeAndHeel,
    area_cm2,
    behind_percent,
    facts_of,
    gain_percent,
    mass_g,
    outline_of,
)

NAMES = [code for code, _label in CATEGORIES]
SAMPLE = ShoeShape("open", 135.0, 130.0, 20.0)


def a_shoe(category="open", **changed):
    return dataclasses.replace(SAMPLE, category=category, **changed)


@st.composite
def shoes(draw, categories=tuple(NAMES)):
    width = draw(st.floats(90, 220))
    return ShoeShape(
        category=draw(st.sampled_from(categories)),
        length_mm=width * draw(st.floats(0.95, 1.25)),
        width_mm=width,
        web_mm=width * draw(st.floats(0.1, 0.2)),
    )


# Hand formulas


def test_the_rim_has_the_area_that_the_formula_of_an_ellipse_gives():
    """Source: half an ellipse, pi a b / 2, and a b (u sqrt(1 - u^2) + asin u) of the hinder one."""
    rear = 67.5 / math.sqrt(1.0 - 0.72**2)
    u = 67.5 / rear
    front_mm2 = math.pi * 65.0 * 67.5 / 2.0
    hind_mm2 = 65.0 * rear * (u * math.sqrt(1.0 - u * u) + math.asin(u))
    solid = outline_of(a_shoe("wooden_block"))
    assert solid.area == pytest.approx(front_mm2 + hind_mm2, rel=1e-4)


def test_a_round_shoe_is_a_ring():
    """Source: area of an annulus, pi (R^2 - r^2)."""
    length = 65.0 + 65.0 * math.sqrt(1 - 0.72**2)
    round_one = ToeAndHeel(widest=(length - 65.0) / length)
    egg = a_shoe("egg_bar", length_mm=length, width_mm=130.0, shape=round_one)
    assert egg.reach_mm == pytest.approx(130.0 - length)
    assert outline_of(egg).area == pytest.approx(math.pi * (65.0**2 - 45.0**2), rel=1e-4)


def test_a_shoe_weighs_what_its_section_and_length_say():
    """Source: rho w t L; 20 x 10 x 330 mm of steel 518 g, of aluminium 178 g."""
    steel = a_shoe(thickness_mm=10.0, material="steel")
    developed_mm = area_cm2(outline_of(steel)) * 100.0 / 20.0
    assert mass_g(steel) == pytest.approx(518.1 * developed_mm / 330.0, rel=1e-3)
    aluminium = dataclasses.replace(steel, material="aluminium")
    assert mass_g(steel) / mass_g(aluminium) == pytest.approx(518.1 / 178.2, rel=1e-3)


@pytest.mark.parametrize(
    ("material", "thickness_mm"), [("wood", 10.0), (None, 10.0), ("steel", None), ("steel", 0.0)]
)
def test_what_is_not_said_has_no_mass(material, thickness_mm):
    assert mass_g(a_shoe(material=material, thickness_mm=thickness_mm)) is None


# Source: bar areas of a 130 x 135 mm foot with a web of 20 mm, worked out once by hand on paper
# from strips of the web's breadth (reference notes on farriery, section 4.6).
@pytest.mark.parametrize(
    ("category", "least", "most"),
    [("straight_bar", 16, 21), ("egg_bar", 25, 35), ("heart_bar", 35, 40), ("egg_heart", 50, 60)],
)
def test_a_bar_gains_what_was_worked_out_by_hand(category, least, most):
    assert least <= gain_percent(a_shoe(category)) <= most


def test_the_open_shoe_of_that_foot_has_the_area_worked_out_by_hand():
    """Source: as above, about 63 square centimetres."""
    assert area_cm2(outline_of(SAMPLE)) == pytest.approx(63.0, rel=0.03)


# Any shoe


@given(shoes())
def test_any_shoe_is_sound_and_as_wide_as_it_is_said_to_be(shoe):
    outline = outline_of(shoe)
    rear, low, _front, high = outline.bounds
    assert outline.is_valid
    assert outline.geom_type == "Polygon"
    assert high - low == pytest.approx(shoe.width_mm, abs=0.01)
    assert rear == pytest.approx(
        shoe.widest_x_mm if shoe.category == "tip" else -shoe.reach_mm, abs=0.01
    )


@given(shoes(), st.floats(0.5, 2.0))
def test_area_grows_with_the_square_of_size(shoe, times):
    grown = dataclasses.replace(
        shoe,
        length_mm=shoe.length_mm * times,
        width_mm=shoe.width_mm * times,
        web_mm=shoe.web * times,
    )
    assert outline_of(grown).area == pytest.approx(outline_of(shoe).area * times**2, rel=1e-6)


@given(shoes(tuple(set(NAMES) - LOPSIDED)))
def test_a_shoe_is_the_same_on_both_sides(shoe):
    outline = outline_of(shoe)
    mirrored = affinity.scale(outline, 1.0, -1.0, origin=(0, 0))
    assert outline.symmetric_difference(mirrored).area < 1e-3 * outline.area


@given(shoes(("straight_bar", "egg_bar", "heart_bar", "egg_heart", "half_bar", "diagonal_bar")))
def test_a_bar_adds_area_behind_and_takes_none(shoe):
    plain = dataclasses.replace(shoe, category="open")
    outline, bare = outline_of(shoe), outline_of(plain)
    assert bare.difference(outline).area < 1e-6 * bare.area
    centre = shoe.widest_x_mm
    assert behind_percent(outline, centre) > behind_percent(bare, centre)
    assert gain_percent(shoe) > 0


@given(shoes(tuple(EGGS)))
def test_an_egg_bar_reaches_behind_the_open_shoe(shoe):
    plain = outline_of(dataclasses.replace(shoe, category="straight_bar"))
    assert outline_of(shoe).bounds[0] < plain.bounds[0] - 5.0


@given(shoes(("open",)))
def test_a_reversed_shoe_is_the_open_one_turned_round(shoe):
    turned = dataclasses.replace(shoe, category="reverse")
    assert outline_of(turned).area == pytest.approx(outline_of(shoe).area)
    ahead = 100.0 - behind_percent(outline_of(shoe), shoe.length_mm / 2.0)
    assert behind_percent(outline_of(turned), shoe.length_mm / 2.0) == pytest.approx(ahead)


@pytest.mark.parametrize("side", ["medial", "lateral"])
def test_an_extension_widens_its_own_side_only(side):
    plain = outline_of(SAMPLE).bounds
    wider = outline_of(a_shoe(**{f"{side}_extension_mm": 6.0})).bounds
    assert wider[1] == pytest.approx(plain[1] - (6.0 if side == "medial" else 0.0))
    assert wider[3] == pytest.approx(plain[3] + (6.0 if side == "lateral" else 0.0))


def test_what_is_cut_on_one_side_is_cut_on_the_inner_one():
    for category in ("three_quarter", "z_bar"):
        lost = outline_of(SAMPLE).difference(outline_of(a_shoe(category)))
        assert lost.area > 0
        assert lost.bounds[3] <= 0


def test_breakover_set_back_takes_ground_at_the_toe():
    plain = facts_of(a_shoe("rolled_toe"))
    rolled = facts_of(a_shoe("rolled_toe", breakover_setback_mm=15.0))
    assert rolled.area_cm2 == plain.area_cm2
    assert plain.ground_cm2 - 20.0 < rolled.ground_cm2 < plain.ground_cm2


def test_a_set_back_toe_takes_no_ground_twice():
    back = facts_of(a_shoe("set_back_toe", breakover_setback_mm=15.0))
    assert back.ground_cm2 == pytest.approx(back.area_cm2)


def test_facts_name_an_eggs_whole_length():
    egg = a_shoe("egg_bar")
    assert facts_of(egg).overall_length_mm == pytest.approx(135.0 + egg.reach_mm, abs=0.01)
    assert facts_of(egg, centre_x_mm=50.0).behind_percent < facts_of(egg).behind_percent


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"length_mm": 0.0}, "length_mm"),
        ({"width_mm": -3.0}, "width_mm"),
        ({"web_mm": 0.0}, "web_mm"),
        ({"bar_mm": 0.0}, "bar_mm"),
        ({"width_mm": 60.0}, "web_mm"),
        ({"length_mm": 50.0}, "length_mm"),
        ({"length_mm": float("nan")}, "length_mm"),
    ],
)
def test_measures_of_no_shoe_are_refused_at_their_field(changed, field):
    with pytest.raises(Invalid) as caught:
        outline_of(a_shoe(**changed))
    assert list(caught.value.faults) == [field]


def test_what_is_not_said_is_the_usual():
    assert ShoeShape("wide_web", 135.0, 130.0).web == 25.0
    assert ShoeShape("straight_bar", 135.0, 130.0).bar == 20.0
