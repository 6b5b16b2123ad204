"""The calculator at the command line: files and pipes, exit statuses, shape of the answers."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from referral.cli import main
from referral.rulebook.loader import load_rulebook
from tests.features.exchange.golden import FOLDER
from tests.features.exchange.sheets import a_sheet, changed

COMMAND = Path(sys.executable).with_name("referral")
READING = {"value", "u", "unit", "scale_state", "basis"}
CONVENTION = {"sign", "sentence", "needs", "source"}
FINDING = ["rule", "stage", "measure", "verdict", "severity", "value", "u", "limit", "unit",
           "margin", "p_outside", "limit_from", "evidence", "source", "reason", "says"]  # fmt: skip
VERDICTS = {"WITHIN", "OUTSIDE", "TOO_CLOSE", "CANNOT_TELL", "NOT_APPLICABLE"}


@pytest.fixture
def asked(tmp_path, capsys):
    """Give a way to put a worksheet to a command and get status and answer."""

    def ask(command, sheet):
        path = tmp_path / "worksheet.json"
        path.write_text(json.dumps(sheet))
        status = main([command, str(path)])
        said = capsys.readouterr()
        assert said.err == ""
        return status, json.loads(said.out)

    return ask


def test_the_installed_command_reads_a_pipe_and_answers():
    given = (FOLDER / "depth_beyond.worksheet.json").read_bytes()
    done = subprocess.run([COMMAND, "judge", "-"], input=given, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (1, b"")
    assert json.loads(done.stdout)["summary"] == "1 limit broken"


def test_the_installed_command_says_every_fault_on_a_line_of_its_own():
    given = b'{"profile": {"limb": "LF", "animal": "mule"}, "plann": {}}'
    done = subprocess.run([COMMAND, "judge", "-"], input=given, capture_output=True, check=False)
    assert (done.returncode, done.stdout) == (2, b"")
    known = "adult_horse, pony, donkey, draught, foal"
    assert done.stderr.decode().splitlines() == [
        f'profile.animal: "mule" is not known here; one of {known} is wanted',
        "plann: there is no such key here; did you mean plan?",
    ]


@pytest.mark.parametrize("command", ["measure", "predict", "judge", "window"])
def test_a_file_that_cannot_be_taken_is_refused_in_one_sentence(command, tmp_path, capsys):
    huge = tmp_path / "huge.json"
    huge.write_bytes(b" " * (256 * 1024 + 1))
    empty = tmp_path / "empty.json"
    empty.touch()
    sentences = {
        tmp_path / "none.json": "none.json: there is no such file; check its name and folder.\n",
        tmp_path: ": this is a folder; name one file in it.\n",
        huge: "huge.json: the file is larger than the 256 KiB that are taken.\n",
        empty: "The worksheet is empty; one JSON object is wanted.\n",
    }
    for path, sentence in sentences.items():
        assert main([command, str(path)]) == 2
        said = capsys.readouterr()
        assert said.out == ""
        assert said.err.endswith(sentence)
        assert said.err.count("\n") == 1


def test_measure_answers_in_its_shape_with_stated_values_beside(asked):
    status, answer = asked("measure", a_sheet())
    assert status == 0
    assert list(answer) == ["readings", "absent", "warnings", "conventions"]
    assert list(answer["conventions"]) == list(answer["readings"])
    assert set(answer["conventions"]["palmar_angle_deg"]) == CONVENTION
    plain = {code: set(each) for code, each in answer["readings"].items()}
    assert plain.pop("palmar_angle_deg") == READING | {"stated"}
    assert plain.pop("sole_depth_tip_mm") == READING | {"stated"}
    assert all(keys == READING for keys in plain.values())
    assert answer["readings"]["palmar_angle_deg"]["stated"] == {"value": 4.0, "u": 0.72}
    assert answer["readings"]["palmar_angle_deg"]["value"] == pytest.approx(5.0, abs=0.005)
    assert [each["code"] for each in answer["warnings"]] == []


def test_a_stated_value_far_from_the_films_is_warned_of_and_can_take_its_place(asked):
    sheet = changed(a_sheet(), "readings.palmar_angle_deg", 9.0)
    _, answer = asked("measure", sheet)
    assert [each["code"] for each in answer["warnings"]] == ["stated_differs"]
    instead = {"value": 9.0, "u": 0.5, "instead_of_film": True}
    _, answer = asked("measure", changed(sheet, "readings.palmar_angle_deg", instead))
    assert answer["readings"]["palmar_angle_deg"]["value"] == 9.0
    assert answer["readings"]["palmar_angle_deg"]["basis"] == "stated"


def test_predict_answers_in_its_shape(asked):
    status, answer = asked("predict", a_sheet())
    assert status == 0
    assert list(answer) == ["after_fit", "at_due", "longest_interval_weeks", "joints",
                            "assumptions", "warnings", "conventions"]  # fmt: skip
    assert {"readings", "absent", "phi_deg", "bearing_length_mm"} == set(answer["after_fit"])
    assert {"readings", "absent", "weeks"} == set(answer["at_due"])
    assert answer["at_due"]["weeks"] == 5
    absent = answer["at_due"]["absent"]["palmar_angle_deg"]
    assert absent == (
        "no growth model for a foot with laminitis: the horse needs two resets of its own"
    )
    lift = answer["after_fit"]["phi_deg"] + 3
    assert answer["joints"]["dip_flexion_deg"] == pytest.approx(0.983 * lift)
    assert "The hoof turns as one rigid piece on a firm, level surface." in answer["assumptions"]


def test_a_shod_film_without_its_bearing_line_predicts_nothing_and_says_why(asked):
    status, answer = asked("predict", changed(a_sheet(), "film.shod", "yes"))
    assert status == 0
    assert answer["after_fit"]["readings"] == {}
    assert answer["after_fit"]["absent"]["palmar_angle_deg"].startswith("film_shod: ")


def test_the_longest_interval_is_the_last_week_that_keeps_the_must_at_the_due_date(asked):
    # breakover grows by 2.1 mm a week times the cosine of the wall's angle, here 1.43 mm
    sheet = changed(a_sheet("plan_heel_trim_wedge_and_shoe"), "plan.interval_weeks", 5)
    limit = {"measure": "breakover_distance_mm", "stage": "at_due", "at_most": 28,
             "strength": "must"}  # fmt: skip
    _, answer = asked("predict", {**sheet, "limits": [limit]})
    growth = answer["at_due"]["readings"]["breakover_distance_mm"]["value"] - 21.196
    u_week = answer["at_due"]["readings"]["breakover_distance_mm"]["u"] / 5
    kept = [week for week in range(1, 9) if 21.196 + week * (growth / 5 + 2 * u_week) < 28]
    assert answer["longest_interval_weeks"] == max(kept) == 3
    unknown = {**limit, "measure": "dip_height_mm", "at_most": 200}
    assert (
        asked("predict", {**sheet, "limits": [limit, unknown]})[1]["longest_interval_weeks"] is None
    )
    _, answer = asked("predict", sheet)
    assert answer["longest_interval_weeks"] == 8
    assert answer["assumptions"][-1].startswith("No limit is set on the foot at the due date")


def test_how_surely_a_plan_is_carried_out_widens_what_it_foretells(asked):
    exact = a_sheet("plan_heel_trim_wedge_and_shoe")
    surely = {"trim_mm": 0, "wedge_deg": 0.29, "breakover_mm": 1.73, "length_mm": 0}
    _, answer = asked("predict", changed(exact, "plan.execution_u", surely))
    after = answer["after_fit"]["readings"]
    # the film's own points are exact here: the wedge alone turns the foot, by its own angle
    assert after["palmar_angle_deg"]["u"] == pytest.approx(0.29, abs=1e-4)
    assert after["breakover_distance_mm"]["u"] > 1.73
    assert after["palmar_angle_deg"]["value"] == pytest.approx(6.11, abs=0.005)


def test_judge_answers_in_its_shape(asked):
    status, answer = asked("judge", a_sheet())
    assert status == 1
    assert list(answer) == ["worst", "summary", "rulebook", "not_run", "findings"]
    assert answer["rulebook"] == load_rulebook().content_hash
    assert all(list(each) == FINDING for each in answer["findings"])
    assert {each["verdict"] for each in answer["findings"]} <= VERDICTS
    case = next(each for each in answer["findings"] if each["rule"] == "case:0")
    assert (case["limit_from"], case["source"], case["severity"]) == ("case", None, "breach")


def test_the_same_worksheet_gives_the_same_bytes(capsys):
    said = []
    for _ in range(2):
        main(["judge", str(FOLDER / "every_key.worksheet.json")])
        said.append(capsys.readouterr().out)
    assert said[0] == said[1]
    assert said[0].startswith('{\n  "worst"')
