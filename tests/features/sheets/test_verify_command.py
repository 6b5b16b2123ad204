"""`referral verify`: how it finds the authority, what it prints, and its exit statuses."""

import base64
import json
import shutil
from datetime import timedelta

import pytest

from referral.cli import main
from referral.clock import utc_now
from referral.settings import load_settings
from referral.sheets.office import authority_folder
from referral.sheets.printing import field_name
from referral.sheets.signing import SigningAct, sign
from referral.sheets.stamping import InstanceStamper
from tests.databases import build
from tests.features.sheets.sample import signed_sheet
from tests.features.sheets.time_authority import a_time_authority


@pytest.fixture
def instance(tmp_path, sheets, monkeypatch):
    """An instance that holds the authority which the sheets were signed under."""
    folder = tmp_path / "yard"
    folder.mkdir()
    (folder / "config.toml").touch()
    monkeypatch.delenv("REFERRAL_INSTANCE", raising=False)
    monkeypatch.delenv("REFERRAL_DATABASE_URL", raising=False)
    monkeypatch.setenv("REFERRAL_INSTANCE_KEY", base64.b64encode(b"k" * 32).decode())
    settings = load_settings(folder)
    shutil.copytree(sheets.agreed.authority._folder, authority_folder(settings))
    build(settings.database_url)
    return folder


@pytest.fixture
def copied(tmp_path, sheets):
    path = tmp_path / "elsewhere" / "sheet.pdf"
    path.parent.mkdir()
    path.write_bytes(sheets.agreed.twice)
    return path


def answer_of(capsys):
    said = capsys.readouterr()
    assert said.err == ""
    return json.loads(said.out)


def trusted(answer):
    return [each["trusted"] for each in answer["signatures"]]


def test_the_authority_is_found_by_option_environment_or_the_folder_above(
    instance, copied, capsys, monkeypatch
):
    assert main(["verify", str(copied), "--instance", str(instance)]) == 1
    named = answer_of(capsys)
    # signed by this authority, yet not on this instance's record, so not good
    assert (trusted(named), named["issued_here"]) == ([True, True], False)
    inside = instance / "var" / "sheets" / "sheet.pdf"
    inside.parent.mkdir()
    shutil.copy(copied, inside)
    assert main(["verify", str(inside)]) == 1
    assert answer_of(capsys) == named
    monkeypatch.setenv("REFERRAL_INSTANCE", str(instance))
    assert main(["verify", str(copied)]) == 1
    assert answer_of(capsys) == named


def test_the_answer_has_its_keys_and_says_who_signed_when(instance, copied, capsys):
    main(["verify", str(copied), "--instance", str(instance)])
    answer = answer_of(capsys)
    assert {"intact", "signatures", "changes_after", "issued_here", "replaced_by"} <= set(answer)
    vet, farrier = answer["signatures"]
    assert {"who", "role", "when", "covers", "trusted", "timestamp"} <= set(vet)
    assert (vet["role"], farrier["role"]) == ("vet", "farrier")
    assert answer["intact"] is True
    assert answer["changes_after"] == "signatures"


def test_without_an_instance_nobody_is_trusted(instance, copied, capsys):
    (copied.parent / "config.toml").touch()  # some other program's; there is no var beside it
    assert main(["verify", str(copied)]) == 1
    answer = answer_of(capsys)
    assert (trusted(answer), answer["issued_here"]) == ([False, False], None)
    assert not (copied.parent / "var").exists()


def test_an_instance_that_has_signed_nothing_makes_no_authority_for_it(instance, copied, capsys):
    shutil.rmtree(authority_folder(load_settings(instance)))
    assert main(["verify", str(copied), "--instance", str(instance)]) == 1
    assert trusted(answer_of(capsys)) == [False, False]
    assert not authority_folder(load_settings(instance)).exists()


def test_what_is_no_pdf_or_no_certificate_is_refused_in_one_line(instance, copied, capsys):
    good = copied.read_bytes()
    for data in (b"", b"a letter", good[:2000]):
        copied.write_bytes(data)
        assert main(["verify", str(copied)]) == 2
        said = capsys.readouterr()
        assert said.out == ""
        assert said.err.startswith(f"{copied}: This file is damaged, or is not a PDF")
        assert said.err.count("\n") == 1
    copied.write_bytes(good)
    assert main(["verify", str(copied), "--root", str(copied)]) == 2
    assert capsys.readouterr().err == (
        f"{copied}: this is not in PEM form; name the authority's own .pem file.\n"
    )
    none = copied.parent / "none.pdf"
    assert main(["verify", str(none)]) == 2
    assert capsys.readouterr().err == f"{none}: there is no such file; check its name and folder.\n"
    assert main(["verify", str(copied), "--instance", str(copied.parent)]) == 2
    assert "is not an instance: it holds no config.toml" in capsys.readouterr().err


@pytest.mark.enable_socket
def test_the_command_takes_the_stamps_of_named_time_authorities_alone(
    instance, tmp_path, capsys, sheets
):
    made_at = utc_now().replace(microsecond=0) - timedelta(minutes=30)
    sheet = signed_sheet(tmp_path / "other", made_at=made_at)
    path, root, theirs = (tmp_path / name for name in ("sheet.pdf", "root.pem", "theirs.pem"))
    with a_time_authority(tmp_path / "tsa") as time:
        at = utc_now()
        act = SigningAct(field_name("vet"), True, "As printed", None, at)
        stamper = InstanceStamper(time.address, at)
        path.write_bytes(sign(sheet.unsigned, sheet.authority, sheet.keys["vet"], act, stamper))
    root.write_bytes(sheet.authority.root_pem)
    theirs.write_bytes(sheets.agreed.authority.root_pem)  # a root, and not that authority's
    asked = ["verify", str(path), "--root", str(root)]
    main([*asked, "--time-root", str(time.root)])
    assert trusted(answer_of(capsys)) == [True]
    main([*asked, "--time-root", str(theirs)])
    (found,) = answer_of(capsys)["signatures"]
    assert (found["trusted"], found["foreign_stamp"]) == (False, True)
    assert main(["verify", str(path), "--time-root", str(theirs)]) == 2
    assert "name --root too" in capsys.readouterr().err
    for named, is_foreign in ((theirs, True), (time.root, False)):
        (instance / "config.toml").write_text(f'time_authority_root = "{named}"\n')
        main(["verify", str(path), "--instance", str(instance)])
        assert answer_of(capsys)["signatures"][0]["foreign_stamp"] is is_foreign
