"""`referral erase` and `referral hold` on a real instance, as an operator types them."""

import os
from pathlib import Path

import pytest
from sqlalchemy import select

from referral.accounts.service import revoke_person
from referral.cases.models import Entry, ErasableValue, Erasure
from referral.cli import main
from referral.films.models import Film
from referral.settings import load_settings
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from tests.databases import build
from tests.features.erasing.marked import rows_as_text
from tests.features.resets.story import a_story


@pytest.fixture
def story(tmp_path, monkeypatch):
    """A case with a film and a referral, on an instance whose files are old."""
    (tmp_path / "config.toml").write_text('name = "A test yard"\n')
    monkeypatch.delenv("REFERRAL_DATABASE_URL", raising=False)
    monkeypatch.setenv("REFERRAL_INSTANCE", str(tmp_path))
    settings = load_settings(tmp_path)
    build(settings.database_url)
    story = a_story(Database(settings.database_url), tmp_path)
    story.office = story.office.__class__(
        BlobStore(settings.files_dir), story.office.rulebook, story.office.authority, "A test yard",
        None,
    )  # fmt: skip
    story.refer(with_film=True)
    for path in settings.files_dir.glob("*/*"):
        os.utime(path, (0, 0))
    yield story
    story.database.dispose()


def by(story, who="vet", why="The owner asked"):
    return ["--by", getattr(story.cast, who).email, "--why", why]


def film_of(story):
    with story.database.reading() as session:
        return session.scalars(select(Film)).one()


def files(story):
    return {path.name for path in story.office.blobs.folder.glob("*/*")}


def test_without_yes_it_is_only_said_what_would_go(story, capsys):
    film, before, there = film_of(story), rows_as_text(story.database), files(story)
    assert main(["erase", "film", "1", str(film.id), *by(story)]) == 0
    said = capsys.readouterr().out
    size = story.office.blobs.size_of(film.original_sha256)
    assert "Goes: a film of LF, taken 25 Nov 2026.\n" in said
    assert f"  file: the original of the film ({film.original_sha256}), {size} bytes\n" in said
    assert f"  file: the picture of the film ({film.picture_sha256})" in said
    assert "Stays: Its scale, its landmarks and its readings (sets of them: 1)" in said
    assert said.endswith("Nothing was changed. Say --yes to erase it for good.\n")
    assert rows_as_text(story.database) == before
    assert files(story) == there


def test_with_yes_the_film_is_gone_when_the_command_ends(story, capsys):
    film = film_of(story)
    assert main(["erase", "film", "1", str(film.id), *by(story), "--yes"]) == 0
    assert capsys.readouterr().out.endswith("\nErased.\n")
    assert files(story) == set()
    assert main(["db", "check"]) == 0
    assert capsys.readouterr().out.startswith("All whole: 1 cases, ")
    assert main(["erase", "film", "1", str(film.id), *by(story), "--yes"]) == 2
    assert "This was erased already, on " in capsys.readouterr().err


def test_a_file_put_just_now_is_left_to_the_worker(story, capsys):
    film = film_of(story)
    os.utime(story.office.blobs.folder / film.original_sha256[:2] / film.original_sha256)
    assert main(["erase", "film", "1", str(film.id), *by(story), "--yes"]) == 0
    said = capsys.readouterr().out
    assert "still has to delete, within a quarter of an hour: 1." in said
    assert main(["db", "check"]) == 1
    assert "its file is still there: have the worker run" in capsys.readouterr().out


def test_words_are_named_by_the_entry_and_never_printed(story, capsys):
    with story.database.reading() as session:
        seq = session.scalars(
            select(Entry.seq)
            .join(ErasableValue, ErasableValue.entry_id == Entry.id)
            .where(ErasableValue.field == "goals")
        ).one()
    asked = ["erase", "words", "1", str(seq), *by(story)]
    assert main([*asked, "--dry-run"]) == 0
    said = capsys.readouterr().out
    assert "words: goals, 14 characters" in said
    assert "rows: referral.goals" in said
    assert "Raise the heel" not in said
    assert "Raise the heel" in rows_as_text(story.database)
    assert main([*asked, "--yes"]) == 0
    assert "Raise the heel" not in rows_as_text(story.database)
    assert main(["erase", "words", "1", "99", *by(story)]) == 2
    assert "Case 1 has no entry 99" in capsys.readouterr().err
    assert main(["erase", "words", "1", "1", *by(story)]) == 2
    assert "There are no words in this entry." in capsys.readouterr().err


def test_why_something_was_erased_cannot_be_erased(story, capsys):
    assert main(["erase", "film", "1", str(film_of(story).id), *by(story), "--yes"]) == 0
    with story.database.reading() as session:
        last = session.scalars(select(Entry.seq).order_by(Entry.seq.desc()).limit(1)).one()
    assert main(["erase", "words", "1", str(last), *by(story), "--yes"]) == 2
    assert "that stays in the record" in capsys.readouterr().err


def test_words_leave_nothing_in_the_database_file_itself(story):
    with story.database.reading() as session:
        path = story.database.engine.url.database
        entry = session.scalars(
            select(ErasableValue.entry_id).where(ErasableValue.field == "goals")
        ).one()
        seq = session.get_one(Entry, entry).seq
    assert b"Raise the heel" in whole(story, path)
    assert main(["erase", "words", "1", str(seq), *by(story), "--yes"]) == 0
    assert b"Raise the heel" not in whole(story, path)


def whole(story, path):
    """Return the bytes of the database's file, with what was written last put into it."""
    with story.database.engine.connect() as connection:
        connection.exec_driver_sql("ROLLBACK")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.exec_driver_sql("BEGIN")
    return b"".join(each.read_bytes() for each in Path(path).parent.glob(f"{Path(path).name}*"))


def test_a_hold_is_placed_listed_and_lifted(story, capsys):
    film = str(film_of(story).id)
    assert main(["hold", "list"]) == 0
    assert capsys.readouterr().out == "No case is under legal hold.\n"
    assert main(["hold", "place", "1", *by(story, why="A claim")]) == 0
    assert main(["hold", "list"]) == 0
    assert "case 1  Under legal hold since " in capsys.readouterr().out
    assert main(["erase", "film", "1", film, *by(story), "--yes"]) == 2
    assert "Nothing of this case is erased until that is lifted." in capsys.readouterr().err
    assert main(["hold", "lift", "1", *by(story, why="Settled")]) == 0
    assert main(["erase", "film", "1", film, *by(story), "--yes"]) == 0
    with story.database.reading() as session:
        assert session.scalars(select(Erasure.what)).all() == ["film"]


@pytest.mark.parametrize(
    ("who", "said"),
    [
        ("farrier", "Only the case’s vet, or a coordinator"),
        ("other_vet", "is not on case 1, or there is no such case."),
    ],
)
def test_whoever_may_not_is_told_so(story, capsys, who, said):
    film = str(film_of(story).id)
    assert main(["erase", "film", "1", film, *by(story, who), "--yes"]) == 2
    assert said in capsys.readouterr().err
    assert main(["hold", "place", "1", *by(story, who)]) == 2
    assert said in capsys.readouterr().err


def test_a_revoked_account_erases_nothing(story, capsys):
    with story.database.transaction() as session:
        revoke_person(session, story.cast.vet.id, story.now)
    assert main(["erase", "film", "1", str(film_of(story).id), *by(story), "--yes"]) == 2
    assert "can no longer sign in" in capsys.readouterr().err
