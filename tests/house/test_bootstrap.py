"""The set-up that both commands share, run with the shell that people have."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

from tests.house.tree import ROOT

NOBODY = 65534
MISSING = ("no-such-package-of-ours", "nor-this-one")


@pytest.fixture
def folder():
    """Give a tree that anyone may read, in a path with a space, that lacks two system packages."""
    with tempfile.TemporaryDirectory() as outer:
        top = Path(outer) / "a yard"
        (top / ".setup").mkdir(parents=True)
        shutil.copy(ROOT / ".setup/bootstrap.sh", top / ".setup")
        (top / ".setup/apt.txt").write_text("# Why.\n{}\n{}\ndpkg\n".format(*MISSING))
        Path(outer).chmod(0o755)
        yield top


def shell(folder, words, *, user=None):
    script = f'set -eu\nroot=$PWD\n. "$root/.setup/bootstrap.sh"\n{words}'
    return subprocess.run(
        ["sh", "-c", script], cwd=folder, capture_output=True, text=True, check=False, user=user
    )


def test_without_root_the_one_line_to_run_is_printed(folder):
    user = NOBODY if os.geteuid() == 0 else None
    done = shell(folder, "require_debian apt.txt", user=user)
    assert done.returncode == 2
    assert done.stdout == ""
    first, line = done.stderr.splitlines()
    assert first.startswith("Some system packages are missing.")
    assert line == (
        "sudo sh -c 'apt-get update && apt-get install -y --no-install-recommends "
        f"{' '.join(MISSING)}'"
    )


def test_nothing_is_asked_for_that_is_there(folder):
    (folder / ".setup/apt.txt").write_text("# Why.\ndpkg\ncoreutils\n")
    done = shell(folder, "require_debian apt.txt")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_a_python_that_is_too_old_or_absent_is_named(folder):
    (folder / "python3").write_text('#!/bin/sh\n[ "$1" != -V ] || echo Python 3.9.2\nexit 1\n')
    (folder / "python3").chmod(0o755)
    done = shell(folder, 'PATH="$root:$PATH"; require_python')
    assert (done.returncode, done.stderr) == (
        2,
        "Python 3.11 or newer is needed; python3 here is Python 3.9.2.\n",
    )
    done = shell(folder, 'PATH="$root/.setup"; require_python')
    assert done.returncode == 2
    assert "there is no python3" in done.stderr


def test_a_changed_lock_asks_for_a_new_set_up(folder):
    for name in ("pyproject.toml", ".setup/requirements.txt"):
        (folder / name).write_text("one\n")
    (folder / ".venv/bin").mkdir(parents=True)
    (folder / ".venv/bin/referral").write_text("#!/bin/sh\n")
    (folder / ".venv/bin/referral").chmod(0o755)
    asked = "locks=requirements.txt; is_set_up run && echo yes || echo no"
    assert shell(folder, asked).stdout == "no\n"
    assert shell(folder, "mark run requirements.txt").returncode == 0
    assert shell(folder, asked).stdout == "yes\n"
    (folder / ".setup/requirements.txt").write_text("two\n")
    assert shell(folder, asked).stdout == "no\n"


def test_a_venv_that_was_moved_or_broken_is_not_used(folder):
    (folder / ".venv").mkdir()
    asked = "is_venv_usable && echo yes || echo no"
    assert shell(folder, asked).stdout == "no\n"
    (folder / ".venv/pyvenv.cfg").write_text("command = /bin/python3 -m venv /elsewhere/.venv\n")
    assert shell(folder, asked).stdout == "no\n"
