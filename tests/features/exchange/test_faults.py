"""Every kind of fault in a worksheet: its path, what is wrong, what is wanted."""

import json
from datetime import date

import pytest

from referral.errors import Invalid
from referral.exchange.calculator import foretold, judged, measured
from referral.exchange.schemas import load_worksheet
from referral.rulebook.loader import load_rulebook
from tests.features.exchange.golden import FOLDER
from tests.features.exchange.sheets import LEFT_OUT, a_sheet, changed

TODAY = date(2026, 11, 25)
FAULTS = json.loads((FOLDER / "faults.json").read_text())
"""What is set in a good worksheet (left out, where it has no ``to``), and what is said of it."""


def refused(act, *given):
    with pytest.raises(Invalid) as caught:
        act(*given)
    return caught.value


@pytest.mark.parametrize(
    "row", FAULTS, ids=[f"{row['at']}-{number}" for number, row in enumerate(FAULTS)]
)
def test_a_fault_says_where_what_is_wrong_and_what_is_wanted(row):
    given = changed(a_sheet(), row["set"], row.get("to", LEFT_OUT))
    fault = refused(load_worksheet, given, TODAY)
    assert fault.faults[row["at"]][0].startswith(row["says"])
    assert f"{row['at']}: {row['says']}" in fault.message


def test_millimetres_take_neither_a_scale_nor_a_ground_off_the_ground():
    sheet = a_sheet("plan_heel_trim")
    given = changed(sheet, "film.scale", {"kind": "none"})
    assert refused(load_worksheet, given, TODAY).faults == {
        "film.scale": ["points in millimetres carry their own scale; leave it out"]
    }
    sheet["film"]["landmarks_mm"] |= {"ground_palmar": [-120, 3], "ground_dorsal": [80, 0]}
    assert refused(load_worksheet, sheet, TODAY).faults == {
        "film.landmarks_mm.ground_palmar": [
            "it lies off y = 0, the ground in the foot frame; leave it out"
        ]
    }


def test_a_heel_trim_is_said_once():
    sides = {"heel_trim_mm": 5, "heel_trim_medial_mm": 4, "heel_trim_lateral_mm": 6}
    fault = refused(load_worksheet, changed(a_sheet(), "plan", sides), TODAY)
    assert fault.faults == {
        "plan.heel_trim_mm": [
            "both sides are given too; give heel_trim_mm, or a trim for each side"
        ]
    }


def test_all_faults_are_said_at_once_one_line_each_in_order():
    sheet = changed(a_sheet(), "zebra", 1)
    sheet = changed(changed(sheet, "apple", 2), "profile.limb", "XF")
    sheet = changed(changed(sheet, "plan.shoe.web_mm", "wide"), "limits.0.strength", "may")
    lines = refused(load_worksheet, sheet, TODAY).message.splitlines()
    assert [line.partition(":")[0] for line in lines] == [
        "profile.limb",
        "plan.shoe.web_mm",
        "limits.0.strength",
        "zebra",
        "apple",
    ]


def test_a_hostile_key_stays_on_its_line_and_can_be_printed():
    for key in ("a\nb: c", "\ud800", "k" * 5000, "_schema"):
        fault = refused(load_worksheet, {**a_sheet(), key: 1}, TODAY)
        assert len(fault.message.splitlines()) == 1
        assert fault.message.isprintable()
        assert len(fault.message) < 200
        assert "there is no such key here" in fault.message


@pytest.mark.parametrize(
    ("path", "value", "at", "sentence"),
    [
        ("film.size_px", [240, 3000], "film.landmarks_px.p3_tip", "lies outside the picture of"),
        ("film.landmarks_px.ground_palmar", None, "film.landmarks_px.ground_dorsal", "one spot"),
        ("film.landmarks_px.p2_condyle", [[1, 2], [3, 4], [5, 6]],
         "film.landmarks_px.p2_condyle", "do not make a circle"),
        ("plan.heel_trim_mm", 40, "plan.heel_trim_mm", "the heel wall has 25.0 mm at most"),
        ("as_fitted.heel_trim_mm", 33, "as_fitted.heel_trim_mm", "25.0 mm at most"),
    ],
)  # fmt: skip
def test_what_no_foot_has_is_refused_by_its_path(path, value, at, sentence):
    sheet = a_sheet()
    landmarks = sheet["film"]["landmarks_px"]
    given = changed(sheet, path, landmarks["ground_dorsal"] if value is None else value)
    fault = refused(judged, load_worksheet(given, TODAY), load_rulebook())
    assert list(fault.faults) == [at]
    assert sentence in fault.message


def test_a_worksheet_without_a_foot_or_a_plan_says_what_it_needs():
    bare = load_worksheet({"profile": a_sheet()["profile"]}, TODAY)
    wanted = "film: it is missing; a film with landmarks, or readings, is wanted"
    assert refused(measured, bare).message == wanted
    assert refused(foretold, bare, load_rulebook()).message == wanted
    stated = changed(a_sheet("depth_inside"), "limits", [])
    fault = refused(foretold, load_worksheet(stated, TODAY), load_rulebook())
    assert fault.message == 'plan: it is missing; an object such as {"heel_trim_mm": 5} is wanted'


@pytest.mark.parametrize("absent", [None, "", "n/a", "9 mm", True])
def test_a_depth_that_is_no_number_is_refused_and_never_taken_for_one(absent):
    sheet = changed(a_sheet("depth_inside"), "readings.sole_depth_tip_mm.value", absent)
    assert refused(load_worksheet, sheet, TODAY).faults.keys() == {
        "readings.sole_depth_tip_mm.value"
    }


def test_a_depth_that_is_left_out_or_whose_scale_is_not_said_cannot_be_told():
    missing = changed(a_sheet("depth_inside"), "readings", {})
    unsaid = changed(a_sheet("depth_inside"), "readings.sole_depth_tip_mm.scale", "none")
    for sheet in (missing, unsaid):
        found = judged(load_worksheet(sheet, TODAY), load_rulebook())
        (depth,) = [each for each in found.findings if each.rule == "case:0"]
        assert depth.verdict == "CANNOT_TELL"
        assert found.worst == "cannot_tell_must"
