"""Each golden worksheet gives the answer that its source says."""

import json

import pytest

from referral.cli import main
from tests.features.exchange.golden import FOLDER, at, cases


@pytest.mark.parametrize("case", cases(), ids=lambda case: case.name)
def test_a_worksheet_gives_the_answer_of_its_source(case, capsys):
    assert main([case.command, str(case.path)]) == case.exit_status
    said = capsys.readouterr()
    assert said.err == ""
    answer = json.loads(said.out)
    for path, (value, within) in case.near.items():
        assert at(answer, path) == pytest.approx(value, abs=within), path
    for path, value in case.equal.items():
        assert at(answer, path) == value, path
    assert case.source


def test_every_worksheet_has_an_expectation_and_checks_something():
    sheets = {path.name.split(".")[0] for path in FOLDER.glob("*.worksheet.json")}
    assert sheets == {case.name for case in cases()}
    assert all(case.near or case.equal for case in cases())
