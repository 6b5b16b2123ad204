"""How a picture was taken, and what that makes doubtful."""

from dataclasses import replace

import pytest

from referral.core.errors import CoreError
from referral.core.measure.quality import Taken, quality_caveats

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
        ({"cannon_vertical": False}, "cannon_not_vertical", "phalangeal rotation"),
        ({"shod": "yes"}, "shod_film", "breakover"),
        ({"shod": "unknown"}, "not_said", "nothing is foretold"),
        ({"trim": "unknown"}, "not_said", "before or after the trim"),
        ({"days_since_trim": 8}, "grown_since_trim", "8 days"),
        ({"days_since_trim": 8}, "grown_since_trim", "breakover lie farther forward, and"),
        ({"days_since_trim": 29}, "grown_since_trim", "film it anew"),
        ({"view": "dorsopalmar", "on_blocks": False}, "not_on_blocks", "joint spaces"),
        ({"view": "dorsopalmar", "beam_at_sole": False}, "beam_not_at_sole", "either side"),
        ({"view": "dorsopalmar", "shod": "yes"}, "shod_film", "include the shoe"),
        ({"view": "dorsopalmar", "days_since_trim": 9}, "grown_since_trim", "one side"),
        ({"view": "side_photo", "cannon_vertical": False}, "cannon_not_vertical", "plumb line"),
    ],
)
def test_each_answer_that_makes_readings_doubtful_says_which(changed, code, names):
    (caveat,) = quality_caveats(replace(GOOD, **changed))
    assert caveat.code == code
    assert names in caveat.text


def test_growth_is_not_named_of_a_foot_just_trimmed():
    assert codes(replace(GOOD, days_since_trim=7)) == []
    assert "film it anew" not in quality_caveats(replace(GOOD, days_since_trim=28))[0].text
    assert codes(replace(GOOD, trim="after", days_since_trim=0)) == []
    assert codes(replace(GOOD, trim="after", days_since_trim=35)) == ["grown_since_trim"]


@pytest.mark.parametrize("view", ["lateromedial", "dorsopalmar"])
def test_a_doubt_names_only_readings_that_its_view_has(view):
    said = " ".join(
        each.text for each in quality_caveats(Taken(view, "before", "yes", *[False] * 4))
    )
    for name, of_view in (
        ("palmar angle", "lateromedial"),
        ("founder distance", "lateromedial"),
        ("breakover", "lateromedial"),
        ("joint spaces", "dorsopalmar"),
        ("coronet height", "dorsopalmar"),
    ):
        assert (name in said) is (view == of_view), name


def test_what_was_not_said_is_one_sentence():
    (caveat,) = quality_caveats(Taken("lateromedial", "unknown", "unknown"))
    assert caveat.code == "not_said"
    for part in ("condyles", "cannon", "blocks", "beam", "days since", "before or after", "shod"):
        assert part in caveat.text
    assert caveat.text.count(".") == 1


def test_each_view_is_asked_only_what_matters_to_it():
    asked_of_a_film = {"on_blocks": False, "beam_at_sole": False, "days_since_trim": 40}
    for view in ("sole_photo", "front_photo"):
        assert codes(Taken(view, "unknown", "unknown", **asked_of_a_film)) == []
    (caveat,) = quality_caveats(Taken("side_photo", "unknown", "yes", **asked_of_a_film))
    assert caveat.text == "Not said of this picture: whether the cannon stood vertical."
    (caveat,) = quality_caveats(Taken("dorsopalmar", "before", "no"))
    assert "condyles" not in caveat.text
    assert "cannon" not in caveat.text


@pytest.mark.parametrize("wrong", [{"view": "skyline"}, {"days_since_trim": -1}])
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(CoreError):
        quality_caveats(replace(GOOD, **wrong))
