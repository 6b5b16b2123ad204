"""The bench runs and names what it timed; how long anything takes is never a test."""

import re

import pytest
from click.testing import CliRunner

from referral.exchange import bench, bench_pages, bench_rules, timing
from tests.house.tree import ROOT


def test_each_part_gives_a_figure_with_its_unit(monkeypatch):
    monkeypatch.setattr(timing, "RUNS", 1)
    monkeypatch.setattr(bench, "FILM_PX", (600, 480))
    result = CliRunner().invoke(
        bench.bench, ["films", "rules", "window", "sheets"], catch_exceptions=False
    )
    assert result.exit_code == 0
    lines = [line for line in result.output.splitlines() if line.startswith("  ")]
    told = [line for line in lines if not line.endswith(bench_rules.MISSING)]
    assert len(lines) in (22, 23)
    assert len(lines) - len(told) == (len(lines) == 22)
    assert all(re.search(r"\d+(\.\d+)?( ms)?$", line) for line in told)


def test_what_is_not_there_to_measure_against_says_how_to_get_it(monkeypatch):
    monkeypatch.setattr(timing, "RUNS", 1)
    monkeypatch.setattr(bench_rules, "find_spec", lambda _name: None)
    result = CliRunner().invoke(bench.bench, ["rules"], catch_exceptions=False)
    assert result.exit_code == 0
    (line,) = [each for each in result.output.splitlines() if "zen-engine" in each]
    lock = re.search(r"install --require-hashes -r (\S+)$", line)[1]
    assert "zen-engine==" in (ROOT / lock).read_text()


@pytest.mark.pdf
@pytest.mark.enable_socket
@pytest.mark.allow_hosts(["127.0.0.1", "localhost"])
def test_the_pages_are_timed_on_an_instance_that_is_served(monkeypatch):
    monkeypatch.setattr(timing, "RUNS", 1)
    for name, value in (("RESETS", 1), ("FEW", 2), ("MANY", 5)):
        monkeypatch.setattr(bench_pages, name, value)
    result = CliRunner().invoke(bench.bench, ["pages"], catch_exceptions=False)
    lines = [line.split("  ")[-1].split()[0] for line in result.output.splitlines()[1:]]
    assert len(lines) == 11
    assert all(float(each) > 0 for each in lines)


def test_an_unknown_part_is_refused():
    assert CliRunner().invoke(bench.bench, ["horses"]).exit_code == 2
