"""The commands that check the record and a copy of a sheet, on a real instance."""

import json

import pytest

from referral.cli import main
from referral.settings import load_settings
from referral.sheets.office import authority_of
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from tests.databases import build
from tests.features.resets.story import a_story


@pytest.fixture
def settings(tmp_path, monkeypatch):
    (tmp_path / "config.toml").write_text('name = "A test yard"\n')
    monkeypatch.delenv("REFERRAL_DATABASE_URL", raising=False)
    monkeypatch.setenv("REFERRAL_INSTANCE", str(tmp_path))
    made = load_settings(tmp_path)
    build(made.database_url)
    return made


@pytest.fixture
def sheet(settings):
    """An agreed plan that both have signed, issued by the instance's own authority."""
    database = Database(settings.database_url)
    story = a_story(database, settings.instance_dir)
    story.office = story.office.__class__(
        BlobStore(settings.files_dir),
        story.office.rulebook,
        authority_of(settings, story.now),
        "A test yard",
        "https://yard.example.org",
    )
    story.refer()
    story.submit()
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    signed = story.sign_plan()
    database.dispose()
    return signed


def test_a_whole_record_is_counted(settings, sheet, capsys):
    BlobStore(settings.files_dir).put(b"Of a record that was made after the backup.")
    assert main(["db", "check"]) == 0
    whole, unnamed = capsys.readouterr().out.splitlines()
    assert whole == "All whole: 1 cases, 9 entries, 3 files."
    # the sheet before anybody signed it, and the file above
    assert unnamed == "Files that no record names, which go with the next erasure: 2."


def test_a_file_that_was_changed_is_named(settings, sheet, capsys):
    digest = sheet.pdf_sha256
    path = settings.files_dir / digest[:2] / digest
    path.write_bytes(path.read_bytes().replace(b"PDF-1.7", b"PDF-1.6"))
    assert main(["db", "check"]) == 1
    said = capsys.readouterr().out
    assert said == (
        f"case 1: a signed state of sheet {sheet.sheet_id} is missing or was changed"
        f" (file {digest})\n"
    )


def test_a_copy_is_verified_by_its_instance_and_by_a_root_alone(settings, sheet, tmp_path, capsys):
    copy = tmp_path / "copy.pdf"
    copy.write_bytes(BlobStore(settings.files_dir).get(sheet.pdf_sha256))
    root = str(settings.keys_dir / "authority" / "root.pem")
    assert main(["verify", str(copy), "--root", root]) == 0
    alone = json.loads(capsys.readouterr().out)
    assert [each["trusted"] for each in alone["signatures"]] == [True, True]
    assert alone["issued_here"] is None
    asked = ["verify", str(copy), "--instance", str(settings.instance_dir)]
    assert main(asked) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["issued_here"] is True
    assert said["sheet_id"] == str(sheet.sheet_id)
    copy.write_bytes(copy.read_bytes() + b"%")
    assert main(asked) == 1
    assert json.loads(capsys.readouterr().out)["issued_here"] is False
    assert main([*asked, "--root", root]) == 2
    assert "not both" in capsys.readouterr().err
