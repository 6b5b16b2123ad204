"""A shoe lies over a photo as large as it is, wherever and however the photo was taken."""

import math
import re

import numpy as np
import pytest

from referral.shoes.on_photo import laid_svg, on_photo
from referral.shoes.outline import ShoeShape

SHOE = ShoeShape("straight_bar", 146.0, 134.0, 20.0)
FOOT = {
    "toe": np.array([130.0, 0.0]),
    "heel_medial": np.array([0.0, -30.0]),
    "heel_lateral": np.array([0.0, 30.0]),
    "widest_medial": np.array([60.0, -64.0]),
    "widest_lateral": np.array([60.0, 62.0]),
    "frog_widest_level": np.array([5.0, 0.0]),
}
SIZE_PX = (3000, 2400)


def photographed(turn_deg=0.0, mm_a_pixel=0.1, mirrored=False):
    """Return the foot's landmarks as they stand on a photo: turned, scaled, mirrored or not."""
    turn = math.radians(turn_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    out = np.array([along[1], -along[0]]) * (-1 if mirrored else 1)
    start = np.array([900.0, 1200.0])
    return {
        name: (start + (at[0] * along + at[1] * out) / mm_a_pixel).tolist()
        for name, at in FOOT.items()
    }


def outline_px(svg):
    ring = re.search(r'd="M([^MZ"]+)Z', svg)[1]
    return np.array([[float(each) for each in at.split()] for at in ring.split("L")])


def test_worked_by_hand():
    """Shoe 146 by 134, 8 mm behind the heels, on a foot of 130 by 126.

    At the heels the rim is 67 sqrt(1 - (65 / 105.19)^2) = 52.67 mm from the middle, where 105.19 =
    73 / sqrt(1 - 0.72^2) is its hinder half axis: 22.67 mm outside a heel 30 mm from the middle.
    """
    lies = on_photo(SHOE, FOOT, 8.0)
    assert lies.toe_back_mm == pytest.approx(130 + 8 - 146)
    assert lies.wider_by_mm == pytest.approx(134 - 126)
    assert lies.behind_frog_mm == pytest.approx(5 + 8)
    for heel in lies.heels:
        assert heel.is_covered
        assert heel.overhang_mm == pytest.approx(22.67, abs=0.02)


def test_a_heel_beside_the_shoe_or_behind_it_is_not_covered():
    wide = {**FOOT, "heel_medial": np.array([0.0, -60.0])}
    inner, outer = on_photo(SHOE, wide, 8.0).heels
    assert (inner.is_covered, outer.is_covered) == (False, True)
    assert inner.overhang_mm == pytest.approx(52.67 - 60.0, abs=0.02)
    short = on_photo(SHOE, FOOT, -8.0)
    assert [each.is_covered for each in short.heels] == [False, False]
    assert short.behind_frog_mm == pytest.approx(-3.0)


def test_between_the_branches_a_heel_lies_on_nothing():
    open_shoe = ShoeShape("open", 146.0, 134.0, 20.0)
    narrow = {**FOOT, "heel_medial": np.array([0.0, -20.0]), "heel_lateral": np.array([0.0, 40.0])}
    assert [each.is_covered for each in on_photo(open_shoe, narrow, 8.0).heels] == [False, True]


def test_what_is_not_placed_is_not_told():
    bare = {name: FOOT[name] for name in ("toe", "heel_medial", "heel_lateral")}
    lies = on_photo(SHOE, bare, 8.0)
    assert (lies.wider_by_mm, lies.behind_frog_mm) == (None, None)


def test_on_the_photo_the_shoe_is_as_long_and_wide_as_its_millimetres():
    """0.1 mm a pixel, toe to the right: from 900 - 80 px to 900 + 1380 px, 670 px to each side."""
    ring = outline_px(laid_svg(SHOE, FOOT, photographed(), 8.0, SIZE_PX))
    assert ring.min(axis=0) == pytest.approx([820.0, 530.0], abs=0.3)
    assert ring.max(axis=0) == pytest.approx([2280.0, 1870.0], abs=0.3)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 203.0])
def test_a_turned_or_mirrored_photo_turns_the_shoe_with_it(turn_deg, mirrored):
    """An inner extension of 10 mm stays on the inner side: 77 mm from the middle, not 67."""
    lopsided = ShoeShape("open", 146.0, 134.0, 20.0, medial_extension_mm=10.0)
    placed = photographed(turn_deg, 0.2, mirrored=mirrored)
    ring = outline_px(laid_svg(lopsided, FOOT, placed, 8.0, SIZE_PX))
    middle = np.array(placed["frog_widest_level"])
    along = (np.array(placed["toe"]) - middle) / math.dist(placed["toe"], middle)
    out = np.array(placed["heel_lateral"]) - np.array(placed["heel_medial"])
    out = out / np.hypot(*out)
    across_mm = (ring - middle) @ out * 0.2
    assert (across_mm.min(), across_mm.max()) == pytest.approx((-77.0, 67.0), abs=0.05)
    assert ((ring - middle) @ along).min() * 0.2 == pytest.approx(-8.0 - 5.0, abs=0.05)


def test_pixels_that_are_not_square_are_shown_as_they_measure():
    """Pixels twice as high as wide: on the photo as it is shown, every height doubles."""
    flat = {name: [at[0], at[1] / 2] for name, at in photographed().items()}
    svg = laid_svg(SHOE, FOOT, flat, 8.0, (3000, 1200), (2.0, 1.0))
    assert 'viewBox="0 0 3000 2400"' in svg
    assert outline_px(svg).max(axis=0) == pytest.approx([2280.0, 1870.0], abs=0.3)
