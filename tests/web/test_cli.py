"""The `referral` command: exit statuses, one sentence each, and serving for real."""

import re
import socket
import subprocess
import sys
import urllib.request

import pytest
from click import command

from referral import cli
from referral.cli import free_socket, main
from referral.errors import Invalid
from referral.settings import load_settings
from tests.databases import build
from tests.factories import PASSWORD

LOOPBACK = [pytest.mark.enable_socket, pytest.mark.allow_hosts(["127.0.0.1", "localhost"])]


@pytest.fixture
def instance(tmp_path, monkeypatch):
    """An instance of one's own, named by the environment, with its tables made."""
    (tmp_path / "config.toml").write_text('name = "A test yard"\n')
    monkeypatch.delenv("REFERRAL_DATABASE_URL", raising=False)
    monkeypatch.setenv("REFERRAL_INSTANCE", str(tmp_path))
    build(load_settings(tmp_path, {}).database_url)
    return tmp_path


def run(*arguments):
    return main(list(arguments))


def add(email="ann@example.org", role="vet", *more):
    named = ["--name", "Ann Vale", "--role", role, "--password", PASSWORD]
    return run("accounts", "add", email, *named, *more)


def test_people_are_added_listed_and_revoked(instance, capsys):
    assert add("Ann@example.org", "vet", "--organisation", "Hollow Lane Vets") == 0
    assert add("bo@example.org", "owner") == 0
    assert run("accounts", "password", "bo@example.org", "--password", PASSWORD + "!") == 0
    assert run("accounts", "revoke", "bo@example.org") == 0
    capsys.readouterr()
    assert run("accounts", "list") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == [
        "ann@example.org  Ann Vale  vet at Hollow Lane Vets",
        "bo@example.org  Ann Vale  owner  (revoked)",
    ]


def test_a_practices_number_out_of_hours_is_set_changed_and_taken_away(instance, capsys):
    closed = ["--out-of-hours", "01632 960117"]
    practice = "Hollow Lane Vets"
    assert add("ann@example.org", "vet", "--organisation", practice, *closed) == 0
    assert run("accounts", "out-of-hours", practice, "01632 960118") == 0
    assert run("accounts", "out-of-hours", practice, "") == 0
    assert capsys.readouterr().out.splitlines()[1:] == [
        "Hollow Lane Vets is rung on 01632 960118 out of hours.",
        "Hollow Lane Vets has no out-of-hours number now.",
    ]
    assert run("accounts", "out-of-hours", "Nowhere", "01632 960118") == 2
    assert "No practice is known by the name Nowhere." in capsys.readouterr().err
    assert add("bo@example.org", "owner", *closed) == 2
    assert "Say with --organisation whose number" in capsys.readouterr().err
    assert add("cy@example.org", "farrier", "--organisation", "Cold Forge", *closed) == 2
    assert "Only a practice" in capsys.readouterr().err
    assert run("accounts", "list") == 0
    assert "cy@example.org" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["accounts", "revoke", "nobody@example.org"], "Nobody is known by nobody@example.org."),
        (["accounts", "password", "nobody@example.org", "--password", PASSWORD], "Nobody is known"),
        (["accounts", "list", "--instance", "."], "is not an instance"),
        (["nonsense"], "No such command 'nonsense'."),
        (["serve", "--port", "0"], "0 is not in the range"),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_two(instance, capsys, arguments, sentence):
    assert run(*arguments) == 2
    said = capsys.readouterr().err
    assert sentence in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("role", "more", "sentence"),
    [
        ("vet", [], "belongs to a practice or a forge"),
        ("coordinator", ["--organisation", "New Place"], "Add a vet or a farrier first"),
        ("owner", ["--organisation", "New Place"], "Add a vet or a farrier first"),
    ],
)
def test_a_person_who_does_not_fit_is_refused(instance, capsys, role, more, sentence):
    assert add("ann@example.org", role, *more) == 2
    assert sentence in capsys.readouterr().err


def test_without_an_instance_it_asks_which(monkeypatch, capsys):
    monkeypatch.delenv("REFERRAL_INSTANCE", raising=False)
    assert run("db", "upgrade") == 2
    assert "Which instance?" in capsys.readouterr().err


def test_a_fault_of_ours_is_three_with_a_log(instance, monkeypatch, capsys, tmp_path):
    @command
    def broken():
        raise ZeroDivisionError("inside")

    monkeypatch.setitem(cli.group.commands, "broken", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert run("broken") == 3
    said = capsys.readouterr().err
    assert "Traceback" not in said
    [log_id, path] = re.findall(r"log id ([0-9a-f]{8}), kept in (\S+)", said)[0]
    kept = (tmp_path / f"referral-{log_id}.log").read_text()
    assert path.endswith(f"{log_id}.log")
    assert "ZeroDivisionError: inside" in kept


def test_the_database_is_brought_up_to_date(instance, capsys):
    assert run("db", "upgrade") == 0
    assert "The database is at" in capsys.readouterr().out


def test_an_unreachable_database_is_a_sentence(instance, capsys, monkeypatch):
    monkeypatch.setenv("REFERRAL_DATABASE_URL", "sqlite:////no/such/folder/x.db")
    assert run("accounts", "list") == 2
    assert "cannot be reached" in capsys.readouterr().err


def test_help_names_only_what_is_there(capsys):
    assert run("--help") == 0
    said = capsys.readouterr().out
    for name in ("accounts", "db", "serve"):
        assert f"\n  {name} " in said


def test_starting_does_not_load_what_is_not_asked_for():
    script = (
        "import sys, referral.cli as c; c.main(['db', '--help']); "
        "heavy = {'flask', 'sqlalchemy', 'numpy', 'waitress', 'pydicom'} & set(sys.modules); "
        "sys.exit(str(sorted(heavy)) if heavy else 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.returncode == 0


class TestServing:
    pytestmark = LOOPBACK

    def test_a_taken_port_gives_way_to_the_next_free_one(self):
        with free_socket("127.0.0.1", 18400) as first:
            port = first.getsockname()[1]
            with free_socket("127.0.0.1", port) as second:
                assert second.getsockname()[1] > port

    def test_no_port_at_all_is_a_sentence(self):
        with socket.create_server(("127.0.0.1", 65535)), pytest.raises(Invalid, match="free"):
            free_socket("127.0.0.1", 65535)

    def test_it_serves_and_says_where(self, instance):
        with free_socket("127.0.0.1", 18500) as taken:
            port = taken.getsockname()[1]
            process = subprocess.Popen(
                [sys.executable, "-u", "-m", "referral.cli", "serve", "--port", str(port)],
                stdout=subprocess.PIPE,
                text=True,
            )
            try:
                first, second = process.stdout.readline(), process.stdout.readline()
                assert first.startswith(f"Port {port} is taken")
                url = second.split()[-1]
                assert re.fullmatch(r"http://localhost:\d+", url)
                with urllib.request.urlopen(f"{url}/healthz", timeout=10) as answer:
                    assert answer.read() == b"ok\n"
                with urllib.request.urlopen(f"{url}/account", timeout=10) as answer:
                    assert answer.url == f"{url}/sign-in?next=%2Faccount"
                    assert "Server" not in answer.headers
            finally:
                process.terminate()
                process.wait(10)
                process.stdout.close()
