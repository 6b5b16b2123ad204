"""What contradicts what: the choice, the file, the landmarks, an earlier picture."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.measure.contradictions import WHAT_TURNS, Chosen, FileSays, contradictions
from referral.core.measure.views import VIEWS
from tests.core.measure.feet import FOOT_MM, FRONT_MM, GROUND_MM, to_px
from tests.core.measure.photos import FEET

POINTS_MM = {
    "lateromedial": {**FOOT_MM, **GROUND_MM},
    "dorsopalmar": {**FRONT_MM, "ground_medial": (-70.0, 0.0), "ground_lateral": (70.0, 0.0)},
    **{view: points for view, (points, _wanted) in FEET.items()},
}
LEFT, RIGHT = {"mirrored": True}, {}
"""Upright, the toe or the outer side points there."""


def picture(view, limb="LF", **how):
    return Chosen(limb, view, to_px(POINTS_MM[view], **how))


def said(chosen, file=None, earlier=None):
    return [each.code for each in contradictions(chosen, file or FileSays(), earlier)]


@pytest.mark.parametrize(
    ("file", "found"),
    [
        (FileSays(limb="LF"), ["limb_contradicts"]),
        (FileSays(limb="RH"), ["limb_contradicts"]),
        (FileSays(limb="RF"), []),
        (FileSays(side="L"), ["limb_contradicts"]),
        (FileSays(side="R"), []),
        (FileSays(view="dorsopalmar"), ["view_contradicts"]),
        (FileSays(view="lateromedial"), []),
        (FileSays(limb="LF", view="dorsopalmar"), ["limb_contradicts", "view_contradicts"]),
        (FileSays(), []),
    ],
)
def test_the_file_against_what_was_chosen(file, found):
    assert said(Chosen("RF", "lateromedial", {}), file) == found


@pytest.mark.parametrize(
    ("file", "parts"),
    [
        (FileSays(side="L"), ("The file says left; the picture is filed as right fore.", "add it")),
        (FileSays(side="R", limb="RH"), ("right hind; the picture is filed as right fore", "add")),
        (FileSays(view="dorsopalmar"), ("dorsopalmar; it is filed as lateromedial", "add it")),
    ],
)
def test_a_contradiction_says_both_and_what_to_do(file, parts):
    (caveat,) = contradictions(Chosen("RF", "lateromedial", {}), file)
    assert all(part in caveat.text for part in parts)


def test_a_side_of_the_other_hand_is_named():
    (caveat,) = contradictions(Chosen("LH", "lateromedial", {}), FileSays(side="R"))
    assert "The file says right; the picture is filed as left hind." in caveat.text


def test_a_photo_of_a_file_that_names_a_films_view_is_no_contradiction():
    assert said(Chosen("RF", "side_photo", {}), FileSays(view="lateromedial")) == []


# Source: DICOM PS3.3 C.7.6.1.1.1: the first word is what lies to the right of the picture, the
# second what lies at its bottom; for animals D dorsal, PA palmar, PL plantar, L lateral, M medial.
@pytest.mark.parametrize(
    ("view", "orientation", "how", "found"),
    [
        ("lateromedial", r"D\DI", RIGHT, []),
        ("lateromedial", r"D\DI", LEFT, ["orientation_contradicts"]),
        ("lateromedial", r"PA\DI", LEFT, []),
        ("lateromedial", r"PA\DI", RIGHT, ["orientation_contradicts"]),
        ("lateromedial", r"PL\DI", RIGHT, ["orientation_contradicts"]),
        ("lateromedial", r"DI\D", {"turn_deg": 90.0}, []),
        ("lateromedial", r"DI\D", {"turn_deg": -90.0}, ["orientation_contradicts"]),
        ("lateromedial", r"DI\PA", {"turn_deg": -90.0}, []),
        ("dorsopalmar", r"L\DI", RIGHT, []),
        ("dorsopalmar", r"L\DI", LEFT, ["orientation_contradicts"]),
        ("dorsopalmar", r"M\DI", LEFT, []),
        # In people L is left and F the feet, P behind: nothing about a hoof is said.
        ("dorsopalmar", r"L\F", LEFT, []),
        ("lateromedial", r"P\F", RIGHT, []),
        # The toe lies along an axis of which the file says something else.
        ("lateromedial", r"D\DI", {"turn_deg": 90.0}, []),
        ("lateromedial", "D", {"turn_deg": 90.0}, []),
        ("side_photo", r"D\DI", LEFT, []),
        ("lateromedial", None, LEFT, []),
    ],
)
def test_the_files_orientation_against_the_landmarks(view, orientation, how, found):
    assert said(picture(view, **how), FileSays(orientation=orientation)) == found


def test_an_orientation_says_nothing_without_landmarks():
    assert said(Chosen("LF", "lateromedial", {}), FileSays(orientation=r"D\DI")) == []
    only_rear = Chosen("LF", "lateromedial", {"ground_palmar": (5, 5)})
    assert said(only_rear, FileSays(orientation=r"D\DI")) == []


@pytest.mark.parametrize(
    ("orientation", "how", "parts"),
    [
        (r"D\DI", LEFT, ("the toe lies to the right", "to the left")),
        (r"PA\DI", RIGHT, ("the toe lies to the left", "to the right")),
        (r"DI\D", {"turn_deg": -90.0}, ("the toe lies to the bottom", "to the top")),
    ],
)
def test_an_orientation_that_contradicts_says_both_and_what_to_do(orientation, how, parts):
    file = FileSays(orientation=orientation)
    (caveat,) = contradictions(picture("lateromedial", **how), file)
    assert all(part in caveat.text for part in (*parts, "place them anew"))


@pytest.mark.parametrize("view", POINTS_MM)
def test_a_foot_mirrored_against_the_earlier_picture_is_said(view):
    code = WHAT_TURNS[view][0]
    for now, before in ((LEFT, RIGHT), (RIGHT, LEFT)):
        earlier = picture(view, **before).landmarks_px
        assert said(picture(view, **now), earlier=earlier) == [code]
        assert said(picture(view, **before), earlier=earlier) == []


@given(
    view=st.sampled_from(sorted(POINTS_MM)),
    mirrored=st.booleans(),
    turns=st.tuples(st.floats(-180.0, 180.0), st.floats(-180.0, 180.0)),
    columns=st.tuples(st.floats(0.05, 0.4), st.floats(0.05, 0.4)),
)
def test_a_picture_that_is_only_turned_or_finer_is_no_contradiction(view, mirrored, turns, columns):
    now, before = (
        picture(view, column_mm=column, turn_deg=turn, mirrored=mirrored)
        for turn, column in zip(turns, columns, strict=True)
    )
    assert said(now, earlier=before.landmarks_px) == []


@pytest.mark.parametrize(
    ("view", "sentence"),
    [
        ("lateromedial", "Stood upright, the toe points to the left here and to the right on"),
        ("dorsopalmar", "Stood upright, the outer side lies to the left here and to the right on"),
        ("sole_photo", "With the toe up, the outer side lies to the right here and to the left on"),
    ],
)
def test_a_mirrored_foot_is_told_as_it_is_seen(view, sentence):
    now = picture(view, **LEFT)
    (caveat,) = contradictions(now, FileSays(), picture(view, **RIGHT).landmarks_px)
    assert sentence in caveat.text
    assert "place its landmarks anew" in caveat.text


def test_without_landmarks_that_tell_the_sides_nothing_is_said():
    whole = picture("lateromedial", **LEFT)
    rear, front = VIEWS["lateromedial"].frame
    for names in ((), (rear,), (rear, front), ("p3_tip", rear)):
        earlier = {name: to_px(POINTS_MM["lateromedial"])[name] for name in names}
        assert said(whole, earlier=earlier) == []
        assert said(Chosen("LF", "lateromedial", earlier), earlier=whole.landmarks_px) == []
    flat = {rear: (0, 9), front: (9, 9), "p3_tip": (4, 9)}
    assert said(whole, earlier=flat) == []
    assert said(whole) == []


@pytest.mark.parametrize(
    ("stated", "claimed", "found"),
    [
        (date(2026, 11, 25), date(2026, 11, 25), []),
        (date(2026, 11, 25), date(2026, 11, 24), ["day_contradicts"]),
        (date(2026, 11, 25), None, []),
        (None, date(2026, 11, 24), []),
    ],
)
def test_a_cameras_clock_against_the_stated_day(stated, claimed, found):
    chosen = Chosen("RF", "sole_photo", {}, stated)
    caveats = contradictions(chosen, FileSays(claimed_on=claimed))
    assert [each.code for each in caveats] == found
    assert all("2026-11-25 and counts" in each.text for each in caveats)
