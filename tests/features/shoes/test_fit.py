"""How a shoe lies on a foot, and what is altered on the nearest one."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.shoes.fit import Foot, alteration, fit_of, nearest
from referral.shoes.outline import ShoeShape
from referral.shoes.pages import facts_said

FOOT = Foot(length_mm=127.0, width_mm=130.0, heel_extension_mm=8.0)
SHOE = ShoeShape("open", 135.0, 130.0, 20.0)


def test_a_shoe_of_the_foots_size_covers_both_heels():
    fit = fit_of(SHOE, FOOT)
    assert fit.heel_extension_mm == pytest.approx(8.0)
    assert fit.covers_both_heels
    assert fit.wider_by_mm == 0.0
    assert fit.heels[0].overhang_mm == pytest.approx(fit.heels[1].overhang_mm)


def test_a_shoe_that_is_short_covers_no_heel():
    fit = fit_of(dataclasses.replace(SHOE, length_mm=120.0), FOOT)
    assert fit.heel_extension_mm == pytest.approx(-7.0)
    assert not fit.covers_both_heels


def test_a_shoe_that_is_narrow_leaves_the_outer_edges_bare():
    fit = fit_of(dataclasses.replace(SHOE, width_mm=112.0), FOOT)
    assert [(each.outer_edge, each.inner_edge) for each in fit.heels] == [(False, True)] * 2
    assert all(each.overhang_mm < 0 for each in fit.heels)


def test_a_three_quarter_shoe_leaves_its_inner_heel_bare():
    fit = fit_of(dataclasses.replace(SHOE, category="three_quarter"), FOOT)
    assert [each.is_covered for each in fit.heels] == [False, True]


def test_an_extension_stands_out_on_its_own_side():
    wide = fit_of(dataclasses.replace(SHOE, lateral_extension_mm=5.0), FOOT)
    plain = fit_of(SHOE, FOOT)
    assert wide.heels[0].overhang_mm == pytest.approx(plain.heels[0].overhang_mm)
    assert wide.heels[1].overhang_mm > plain.heels[1].overhang_mm + 3.0


def test_a_set_back_shoe_reaches_further_behind():
    rolled = dataclasses.replace(SHOE, category="rolled_toe", breakover_setback_mm=10.0)
    assert fit_of(rolled, FOOT).heel_extension_mm == pytest.approx(8.0)
    back = dataclasses.replace(rolled, category="set_back_toe")
    assert fit_of(back, FOOT).heel_extension_mm == pytest.approx(18.0)
    assert alteration(back, FOOT).sentences == ("take 10 mm off each heel",)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, ()),
        ({"length_mm": 138.0}, ("take 3 mm off each heel",)),
        ({"width_mm": 128.0}, ("set 2 mm wider",)),
        ({"width_mm": 133.0}, ("set 3 mm narrower",)),
        ({"length_mm": 131.0}, ("4 mm too short: draw out each heel, or take a longer one",)),
        (
            {"category": "egg_bar", "length_mm": 139.0, "width_mm": 128.0},
            ("4 mm too long, and a closed bar cannot be cut back", "set 2 mm wider"),
        ),
    ],
)
def test_what_has_to_be_altered_is_said(changed, said):
    assert alteration(dataclasses.replace(SHOE, **changed), FOOT).sentences == said


def test_the_stock_stands_with_the_least_alteration_first():
    sizes = {"short": (129, 130), "fits": (135, 130), "long": (139, 130), "far": (135, 150)}
    stock = [
        (name, dataclasses.replace(SHOE, length_mm=length, width_mm=width))
        for name, (length, width) in sizes.items()
    ]
    found = nearest(stock, FOOT)
    assert [name for name, _ in found] == ["fits", "long", "short", "far"]
    assert [each.is_too_far for _, each in found] == [False, False, False, True]


@given(st.floats(-20, 20), st.floats(-20, 20))
def test_a_shoe_altered_as_is_said_needs_no_more(longer, wider):
    shoe = dataclasses.replace(SHOE, length_mm=135.0 - longer, width_mm=130.0 - wider)
    needed = alteration(shoe, FOOT)
    mended = dataclasses.replace(
        shoe,
        length_mm=shoe.length_mm + needed.length_mm,
        width_mm=shoe.width_mm + needed.width_mm,
    )
    assert alteration(mended, FOOT).cost == pytest.approx(0.0, abs=1e-9)
    assert fit_of(mended, FOOT).heel_extension_mm == pytest.approx(FOOT.heel_extension_mm)


def test_what_an_outline_takes_for_granted_is_said_with_its_figures():
    """The numbers are those that the outline is drawn with; a plate's only where there is one."""
    plain, heart = (
        dict(facts_said(ShoeShape(code, 140.0, 130.0))) for code in ("open", "heart_bar")
    )
    assert plain["Drawn with"] == (
        "the widest line at 50 % of the length, heels 72 % of the width apart "
        "(custom and practice, no source)"
    )
    assert "a frog plate to 48 % of the length" in heart["Drawn with"]
