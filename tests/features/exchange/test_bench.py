"""The bench runs and names what it timed; how long anything takes is never a test."""

import re

from click.testing import CliRunner

from referral.exchange import bench, timing


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


def test_an_unknown_part_is_refused():
    assert CliRunner().invoke(bench.bench, ["horses"]).exit_code == 2
