"""The window at the command line: its shape, what is left out, what is refused."""

import json

import pytest

from referral.cli import main
from tests.features.exchange.sheets import LEFT_OUT, a_sheet, changed

UPRIGHT = a_sheet("window_of_an_upright_foot")


@pytest.fixture
def asked(tmp_path, capsys):
    """Give a way to put a worksheet to the window and get status, answer and complaint."""

    def ask(sheet):
        path = tmp_path / "worksheet.json"
        path.write_text(json.dumps(sheet))
        status = main(["window", str(path)])
        said = capsys.readouterr()
        return status, json.loads(said.out) if said.out else None, said.err

    return ask


def test_a_window_answers_in_its_shape(asked):
    status, answer, complaint = asked(UPRIGHT)
    assert (status, complaint) == (0, "")
    assert list(answer) == [
        "feasible",
        "why",
        "wedges",
        "plan_inside",
        "nearest",
        "conflict",
        "other_conflicts",
        "unchecked",
        "unchecked_reasons",
    ]
    wedge = answer["wedges"][0]
    assert list(wedge) == [
        "wedge_deg",
        "wedge_mm",
        "area_mm2",
        "outline_mm",
        "close_outline_mm",
        "heel_trim_mm",
        "toe_trim_mm",
        "binding",
    ]
    (ring,) = wedge["outline_mm"]
    assert all(len(corner) == 2 for corner in ring)
    assert [(side["side"], side["end"]) for side in wedge["binding"]] == [
        ("heel_trim_mm", "least"),
        ("heel_trim_mm", "most"),
        ("toe_trim_mm", "least"),
        ("toe_trim_mm", "most"),
    ]
    assert set(answer["nearest"]) == {
        "heel_trim_mm",
        "toe_trim_mm",
        "wedge_deg",
        "wedge_mm",
        "distance",
    }


def test_what_is_left_out_of_a_window_is_as_usual(asked):
    _, answer, _ = asked(changed(UPRIGHT, "window", LEFT_OUT))
    assert [wedge["wedge_deg"] for wedge in answer["wedges"]] == [0, 1, 2, 3, 4, 5]
    assert answer["wedges"][5]["heel_trim_mm"] == [0, 10]
    same = asked(changed(UPRIGHT, "window", {"against": "all"}))
    assert same == (0, answer, "")


def test_without_a_plan_the_window_is_that_of_doing_nothing_else(asked):
    _, nothing, _ = asked(changed(UPRIGHT, "plan", LEFT_OUT))
    assert nothing["plan_inside"] is True
    assert nothing["nearest"]["distance"] == 0
    assert nothing == asked(changed(UPRIGHT, "plan", {}))[1]


def test_heels_trimmed_apart_are_told_apart_in_the_nearest_plan(asked):
    apart = {"heel_trim_medial_mm": 4, "heel_trim_lateral_mm": 5}
    _, answer, _ = asked(changed(UPRIGHT, "plan", apart))
    near = answer["nearest"]
    assert near["heel_trim_lateral_mm"] - near["heel_trim_medial_mm"] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("window.step_mm", 0.05, "window.step_mm: The window has 40401 points a wedge"),
        ("window.step_mm", 0, "window.step_mm: 0 is too little"),
        ("window.wedge_deg", list(range(13)), "window.wedge_deg: it holds 13 values"),
        ("window.heel_trim_mm", [5, 1], "window.heel_trim_mm: it ends before it begins"),
        ("window.against", "rules", 'window.against: "rules" is not known here'),
        ("window.stepp_mm", 1, "window.stepp_mm: there is no such key here; did you mean step_mm?"),
        ("plan.heel_trim_mm", 31, "plan.heel_trim_mm: heel_trim_mm is 31: the heel wall has 30.0"),
        ("film", LEFT_OUT, "film: it is missing"),
        ("film.landmarks_mm.p3_tip", [0, 15, 1], "film.landmarks_mm.p3_tip: "),
    ],
)
def test_a_window_that_cannot_be_answered_is_refused_in_one_line(asked, path, value, said):
    status, answer, complaint = asked(changed(UPRIGHT, path, value))
    assert (status, answer) == (2, None)
    assert complaint.startswith(said)
    assert complaint.count("\n") == 1
