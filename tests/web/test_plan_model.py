"""Everything a plan can say, through its form: kept, shown, and filled in again."""

import math
import re

import pytest

from tests.web.yard import PLAN, a_yard, words_of

WHOLE = {
    "LF-heel_trim_mm": "",
    "LF-heel_trim_medial_mm": "2",
    "LF-heel_trim_lateral_mm": "4",
    "LF-frog_plate": "neutral",
    "LF-frog_plate_height_mm": "-1",
    "LF-nail_count": "",
    "LF-nail_holes": "l1, m1 M2 l2",
    "LF-nail_spacing_mm": "28",
    "LF-last_nail_behind_widest_mm": "-4",
    "LF-clips": "quarters",
    "LF-clip_crack_mm": "14",
    "LF-wedge_length_mm": "120",
    "LF-wedge_mm": "6,3",
    "LF-packing": "putty",
    "LF-reason": "The inside heel is the lower one.",
}
SHOWN = (
    "Off the inside heel 2 mm",
    "Off the outside heel 4 mm",
    "Frog plate above the shoe -1 mm",
    "Nails 4",
    "Nail holes L1, L2, M1, M2",
    "Least space between nails 28 mm",
    "Clips quarter (14 mm from the crack), quarter (14 mm from the crack)",
    "Wedge length 120 mm",
    "Reason The inside heel is the lower one.",
)


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def test_the_whole_plan_is_kept_shown_and_filled_in_again(yard):
    page = words_of(yard.open("vet", yard.submit(**WHOLE).removeprefix(yard.home)))
    assert [each for each in SHOWN if each not in page] == []
    again = yard.open("vet", "/plans/1/changes/new").text
    assert 'value="L1 L2 M1 M2"' in again
    assert re.search(r'<option value="quarters" selected>', again)
    assert re.search(r'name="LF-heel_trim_lateral_mm"[^>]*value="4"', again)
    assert again.count("data-used") == 4


def test_a_trim_along_the_wall_is_turned_square_to_the_bearing_surface(yard):
    along = {"LF-toe_trim_mm": "6.84", "LF-trim_along": "wall", "LF-heel_trim_mm": "5"}
    page = words_of(yard.open("vet", yard.submit(**along).removeprefix(yard.home)))
    # Typed readings: dorsal wall 47 degrees, heel 40 degrees; height = length x sin(angle)
    toe, heel = 6.84 * math.sin(math.radians(47)), 5 * math.sin(math.radians(40))
    assert f"Off the toe {round(toe, 2):g} mm" in page
    assert f"Off the heels {round(heel, 2):g} mm" in page
    assert "Off the toe, along the wall 6.8 mm (47°)" in page
    assert "Off the heels, along the wall 5.0 mm (40°)" in page


def test_without_a_wall_angle_a_trim_along_it_is_refused(yard, clock):
    clock.move(minutes=1)
    yard.readings(dorsal_wall_angle_deg="", heel_angle_deg="")
    answer = yard.send("farrier", "/plans/new", "/plans", {**PLAN, "LF-trim_along": "wall"})
    assert answer.status_code == 422
    assert "The angle of this wall is not known" in words_of(answer)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"LF-heel_trim_medial_mm": "1", "LF-heel_trim_lateral_mm": "1"}, "one for each side"),
        ({"LF-heel_trim_mm": "", "LF-heel_trim_medial_mm": "1"}, "Give both sides"),
        ({"LF-nail_holes": "M1 X9"}, "X9 is no hole"),
        ({"LF-nail_holes": "M1 L1", "LF-nail_count": "6"}, "2 holes are marked."),
    ],
)
def test_what_contradicts_itself_is_said_beside_its_field(yard, typed, says):
    before = yard.rows()
    answer = yard.send("farrier", "/plans/new", "/plans", {**PLAN, **typed})
    assert answer.status_code == 422
    assert says in words_of(answer)
    assert yard.rows() == before


def test_every_category_can_be_planned(yard):
    from referral.plans.schemas import CATEGORIES

    page = yard.open("farrier", "/plans/new").text
    for code, label in CATEGORIES:
        assert f'value="{code}"' in page, label
        form = {**PLAN, "LF-category": code}
        answer = yard.browser("farrier").post(f"{yard.home}/plan-previews", form)
        assert answer.status_code == 200, label
