"""Migrations: written from the code, run on an empty database, and then nothing differs."""

import shutil

import pytest

from referral.errors import WrongState
from referral.storage import schema
from referral.storage.db import make_engine
from tests.databases import import_models


@pytest.fixture
def empty_folder(tmp_path, monkeypatch):
    """Let migrations be written to a copy of the folder that has none."""
    folder = tmp_path / "migrations"
    shutil.copytree(schema.FOLDER, folder, ignore=shutil.ignore_patterns("versions", "__pycache__"))
    (folder / "versions").mkdir()
    monkeypatch.setattr(schema, "FOLDER", folder)
    return folder


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'empty.db'}"


@pytest.fixture
def engine(url):
    made = make_engine(url)
    yield made
    made.dispose()


def test_a_database_is_brought_from_nothing_to_the_newest_shape(url, engine):
    assert schema.upgrade(url) == schema.head()
    assert schema.is_current(engine)
    assert schema.upgrade(url) == schema.head()


def test_a_written_migration_makes_exactly_the_tables_of_the_code(empty_folder, url, engine):
    import_models()
    assert schema.head() is None
    schema.write_revision(url, "0001", "first tables")
    assert (empty_folder / "versions" / "0001_first_tables.py").exists()
    assert not schema.is_current(engine)
    assert schema.differences(engine)
    assert schema.upgrade(url) == "0001"
    assert schema.differences(engine) == []


def test_a_migration_that_leaves_rows_pointing_nowhere_is_undone(empty_folder, url, engine):
    (empty_folder / "versions" / "0001_bad.py").write_text(
        'from alembic import op\nrevision = "0001"\ndown_revision = None\n'
        "def upgrade():\n"
        '    op.execute("create table a (id integer primary key)")\n'
        '    op.execute("create table b (a_id integer references a (id))")\n'
        '    op.execute("insert into b values (7)")\n'
    )
    with pytest.raises(WrongState, match="point nowhere"):
        schema.upgrade(url)
    assert schema.current(engine) is None
