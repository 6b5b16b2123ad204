"""What guides say of themselves, and when a sole photo may be held against a film."""

from dataclasses import replace
from datetime import date

import pytest

from referral.core.measure.readings import Measured, Reading
from referral.films.guides import Taken, guides_say, why_not_compared

DAY, LATER = date(2026, 11, 20), date(2026, 11, 25)


def read(code, value, u, unit="mm", scale="external", basis="photo"):
    return Measured({code: Reading(code, value, u, unit, scale, basis)})


WALL = read("photo_wall_angle_deg", 49.0, 0.9, "deg", "none")
ARM = read("heel_arm_mm", 53.0, 1.2, scale="marker", basis="film")
WIDEST = read("heel_to_widest_mm", 57.0, 1.6)
FILM = Taken(DAY, ARM, "lateromedial", "before", "no")
SOLE = Taken(DAY, WIDEST, "sole_photo", "before", "no")
SIDE = Taken(LATER, WALL, "side_photo", "before", "no")


def test_a_guide_says_its_day_and_what_it_stands_for():
    (says,) = guides_say([SIDE]).says
    assert says == (
        "Dorsal wall angle, photo 49.0 ± 1.8° on 25 Nov 2026, "
        "a guide to the dorsal wall angle; no film gives it"
    )


def test_a_film_that_gives_a_reading_needs_no_guide_to_it():
    seen = read("dorsal_wall_angle_deg", 50.0, 0.6, "deg", "none", "film")
    film = replace(FILM, measured=seen)
    assert not guides_say([SIDE, film]).says


def test_a_film_from_the_front_gives_its_own_readings():
    front = read("photo_wall_angle_medial_deg", 70.0, 1.0, "deg", "none")
    seen = read("wall_angle_medial_deg", 71.0, 1.0, "deg", "none", "film")
    photo = Taken(LATER, front, "front_photo")
    assert guides_say([photo, FILM]).says
    assert not guides_say([photo, FILM, Taken(DAY, seen, "dorsopalmar")]).says


def test_guides_of_different_days_are_not_mixed_silently():
    found = guides_say([SIDE, SOLE])
    assert [each.partition(" on ")[2][:11] for each in found.says] == ["25 Nov 2026", "20 Nov 2026"]
    (doubt,) = found.doubts
    assert "different days (20 Nov 2026 and 25 Nov 2026)" in doubt
    assert not guides_say([replace(SIDE, taken_on=DAY), SOLE]).doubts


def test_the_agreement_is_widest_part_less_heel_arm_with_both_doubts():
    # 57 - 53 = 4 mm in front; u = sqrt(1.2^2 + 1.6^2) = 2 mm (JCGM 100:2008, 5.1.2), so U = 4 mm
    (says,) = guides_say([SOLE, FILM]).agreement
    assert "On 20 Nov 2026 the widest part of the foot lies 4.0 ± 4.0" in says
    assert says.endswith("in front of the centre of the coffin joint")
    behind = replace(SOLE, measured=read("heel_to_widest_mm", 50.0, 1.6))
    assert "3.0 ± 4.0" in guides_say([behind, FILM]).agreement[0]
    assert "behind" in guides_say([behind, FILM]).agreement[0]


def test_an_agreement_with_an_estimated_film_says_that_its_scale_is_one():
    arm = read("heel_arm_mm", 53.0, 1.2, scale="estimated", basis="film")
    (says,) = guides_say([SOLE, replace(FILM, measured=arm)]).agreement
    assert says.endswith("the film’s scale is only estimated")


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"taken_on": LATER}, "the photo is of 25 Nov 2026 and the film of 20 Nov 2026"),
        ({"shod": "yes"}, "one shows the foot shod and the other bare"),
        ({"shod": "unknown"}, "it is not said of both whether the foot was shod"),
        ({"trim": "after"}, "one is of before the trim and the other of after it"),
        (
            {"trim": "unknown"},
            "it is not said of both whether they are of before or after the trim",
        ),
    ],
)
def test_a_photo_of_another_state_is_not_compared_and_the_reason_is_said(changed, why):
    sole = replace(SOLE, **changed)
    assert why_not_compared(FILM, sole) == why
    assert guides_say([sole, FILM]).agreement == (
        f"The sole photo is not held against the film: {why}.",
    )


def test_an_older_pair_in_one_state_is_compared_with_its_day():
    newer = replace(SOLE, taken_on=LATER)
    (says,) = guides_say([newer, SOLE, FILM]).agreement
    assert says.startswith("On 20 Nov 2026")


def test_what_is_lacking_for_a_comparison_is_said():
    (says,) = guides_say([SOLE, replace(FILM, measured=WALL)]).agreement
    assert "the joint’s centre is not known" in says


def test_a_foot_without_photos_has_no_guides():
    assert not guides_say([FILM])
