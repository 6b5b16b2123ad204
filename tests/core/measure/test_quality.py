"""How a picture was taken, and what contradicts it."""

from dataclasses import replace

import pytest

from referral.core.errors import CoreError
from referral.core.measure.contradictions import Chosen, FileSays, contradictions
from referral.core.measure.quality import Taken, quality_caveats
from referral.core.measure.views import VIEWS

GOOD = Taken("lateromedial", "before", "no", True, True, True, True, 3)


def codes(taken):
    return [each.code for each in quality_caveats(taken)]


def test_a_film_taken_as_it_should_be_has_none():
    assert codes(GOOD) == []


# common practice, no source: what each answer makes doubtful
@pytest.mark.parametrize(
    ("changed", "code", "names"),
    [
        ({"on_blocks": False}, "not_on_blocks", "palmar angle"),
        ({"beam_at_sole": False}, "beam_not_at_sole", "sole depth"),
        ({"cannon_vertical": False}, "cannon_not_vertical", "plumb line"),
        ({"shod": "yes"}, "shod_film", "breakover"),
        ({"shod": "unknown"}, "shod_not_said", "nothing is foretold"),
        ({"days_since_trim": 8}, "grown_since_trim", "8 days"),
        ({"days_since_trim": 35}, "grown_since_trim", "angles have drifted"),
    ],
)
def test_each_answer_that_makes_readings_doubtful_says_which(changed, code, names):
    (caveat,) = quality_caveats(replace(GOOD, **changed))
    assert caveat.code == code
    assert names in caveat.text


def test_growth_is_not_named_of_a_foot_just_trimmed():
    assert codes(replace(GOOD, days_since_trim=7)) == []
    assert codes(replace(GOOD, trim="after", days_since_trim=35)) == []


def test_what_was_not_said_is_one_sentence():
    (caveat,) = quality_caveats(Taken("lateromedial", "unknown", "no"))
    assert caveat.code == "not_said"
    for part in ("condyles", "cannon", "blocks", "beam", "days since", "before or after"):
        assert part in caveat.text


def test_each_view_is_asked_only_what_matters_to_it():
    assert codes(Taken("sole_photo", "before", "unknown")) == []
    assert codes(Taken("side_photo", "before", "unknown", cannon_vertical=False)) == [
        "cannon_not_vertical"
    ]
    assert "condyles" not in quality_caveats(Taken("dorsopalmar", "before", "no"))[0].text
    assert set(VIEWS) >= {"sole_photo", "front_photo"}


@pytest.mark.parametrize("wrong", [{"view": "skyline"}, {"days_since_trim": -1}])
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(CoreError):
        quality_caveats(replace(GOOD, **wrong))


RIGHTWARDS = {"heel": (100, 900), "toe": (900, 900)}
LEFTWARDS = {"heel": (900, 900), "toe": (100, 900)}


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


def test_a_contradiction_says_both_and_what_to_do():
    (caveat,) = contradictions(Chosen("RF", "lateromedial", {}), FileSays(side="L"))
    assert "The file says left; the picture is filed as right fore." in caveat.text
    assert "add it anew" in caveat.text


def test_a_photo_of_a_file_that_names_a_films_view_is_no_contradiction():
    assert said(Chosen("RF", "side_photo", {}), FileSays(view="lateromedial")) == []


def test_a_toe_that_points_the_other_way_than_before():
    now = Chosen("LF", "lateromedial", RIGHTWARDS)
    assert said(now, earlier=LEFTWARDS) == ["toe_turned"]
    assert said(now, earlier=RIGHTWARDS) == []
    assert said(now, earlier={}) == []
    assert said(now, earlier={"heel": (5, 5), "toe": (5, 9)}) == []
    (caveat,) = contradictions(now, FileSays(), LEFTWARDS)
    assert "points to the right here and pointed to the left" in caveat.text


def test_an_outer_side_on_the_other_side_than_before():
    medial_left = {"ground_medial": (100, 900), "ground_lateral": (900, 900)}
    medial_right = {"widest_medial": (900, 400), "widest_lateral": (100, 400)}
    assert said(Chosen("LF", "dorsopalmar", medial_left), earlier=medial_right) == ["sides_turned"]
