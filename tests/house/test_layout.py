"""The rooms of the house, its two commands and its locks."""

import re
import subprocess
import tomllib

import pytest

from tests.house.tree import ROOT, files

VISIBLE = {
    "README.md", "DEVELOPERS.md", "pyproject.toml",
    "referral", "templates", "static", "tests", "instance_demo",
}  # fmt: skip
COMMANDS = ("instance_demo/run", "tests/run")
SCRIPTS = (*COMMANDS, ".ci/run", ".setup/bootstrap.sh")
PIN = re.compile(r"^([a-z0-9][a-z0-9.-]*)(?:\[[a-z,]+\])?==(\S+)", re.MULTILINE)


def lines_of(path):
    return (ROOT / path).read_text().splitlines()


def test_the_top_holds_what_was_agreed_and_nothing_else():
    top = {path.partition("/")[0] for path in files()}
    assert {name for name in top if not name.startswith(".")} <= VISIBLE
    assert {"README.md", "pyproject.toml", "referral", "tests", "instance_demo"} <= top


def test_the_readme_gives_the_two_commands_and_every_script_it_names_is_there():
    named = re.findall(r"\bsh ([\w./-]+)", (ROOT / "README.md").read_text())
    assert set(COMMANDS) <= set(named)
    assert [path for path in named if not (ROOT / path).is_file()] == []


def test_every_part_of_the_tests_that_the_readme_names_is_one():
    parts = re.findall(r"sh tests/run ([\w|]+)", (ROOT / "README.md").read_text())
    usage = re.search(r"\[([\w|]+)\]\.\.\.", (ROOT / "tests/run").read_text())
    assert {part for group in parts for part in group.split("|")} == set(usage[1].split("|"))


@pytest.mark.parametrize("script", SCRIPTS)
def test_a_script_is_plain_shell(script):
    done = subprocess.run(["sh", "-n", ROOT / script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    bashisms = re.compile(r"\[\[|\bfunction \w|\blocal |<<<|\bsource ")
    assert [line for line in lines_of(script) if bashisms.search(line)] == []


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_refuses_what_it_does_not_know(command):
    done = subprocess.run(
        ["sh", ROOT / command, "--sideways"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert "--sideways" in done.stderr


@pytest.mark.parametrize("name", ["requirements", "requirements-dev"])
def test_a_lock_pins_and_hashes_everything_and_names_no_index(name):
    text = (ROOT / f".setup/{name}.txt").read_text()
    entries = [entry for entry in re.split(r"\n(?=\S)", text) if not entry.startswith("#")]
    assert len(entries) > 40
    assert [entry for entry in entries if not PIN.match(entry)] == []
    assert [entry for entry in entries if not re.search(r"--hash=sha256:[0-9a-f]{64}", entry)] == []


def test_the_tests_run_on_the_versions_that_people_get():
    run, tests = (dict(PIN.findall((ROOT / f".setup/{name}.txt").read_text())) for name in
                  ("requirements", "requirements-dev"))  # fmt: skip
    assert run.items() <= tests.items()


def test_what_the_project_declares_is_what_is_locked():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    asked = set(lines_of(".setup/requirements.in")) - {"hatchling", "editables"}
    assert set(project["dependencies"]) == asked
    locked = dict(PIN.findall((ROOT / ".setup/requirements.txt").read_text()))
    assert {name.partition("[")[0] for name in asked} <= set(locked)
