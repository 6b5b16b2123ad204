"""The bench runs and names what it timed; how long anything takes is never a test."""

import re

import pytest
from click.testing import CliRunner

from referral.exchange import bench, bench_pages, timing


def test_each_part_gives_a_figure_with_its_unit(monkeypatch):
    monkeypatch.setattr(timing, "RUNS", 1)
    monkeypatch.setattr(bench, "FILM_PX", (600, 480))
    result = CliRunner().invoke(
        bench.bench, ["films", "rules", "window", "sheets"], catch_exceptions=False
    )
    assert result.exit_code == 0
    lines = [line for line in result.output.splitlines() if line.startswith("  ")]
    assert len(lines) == 19
    assert all(re.search(r"\d+(\.\d+)?( ms)?$", line) for line in lines)


@pytest.mark.pdf
@pytest.mark.enable_socket
@pytest.mark.allow_hosts(["127.0.0.1", "localhost"])
def test_the_pages_are_timed_on_an_instance_that_is_served(monkeypatch):
    monkeypatch.setattr(timing, "RUNS", 1)
    for name, value in (("RESETS", 1), ("FEW", 2), ("MANY", 5)):
        monkeypatch.setattr(bench_pages, name, value)
    result = CliRunner().invoke(bench.bench, ["pages"], catch_exceptions=False)
    lines = [line.split("  ")[-1].split()[0] for line in result.output.splitlines()[1:]]
    assert len(lines) == 7
    assert all(float(each) > 0 for each in lines)


def test_an_unknown_part_is_refused():
    assert CliRunner().invoke(bench.bench, ["horses"]).exit_code == 2
