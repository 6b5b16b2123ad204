"""Databases for tests: made once a run by the migrations, clean for every test.

SQLite files by default; PostgreSQL where REFERRAL_TEST_DATABASE_URL names one,
in a schema of this run's own.
"""

import os
import secrets
import shutil
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Protocol

from sqlalchemy import create_engine, text

from referral.storage import schema
from referral.storage.db import Base, Database

FEATURES = (
    "accounts",
    "notices",
    "horses",
    "shoes",
    "cases",
    "rules",
    "films",
    "assessments",
    "plans",
    "resets",
    "sheets",
)
VARIABLE = "REFERRAL_TEST_DATABASE_URL"


class TestDatabases(Protocol):
    """Where tests get their databases from."""

    __test__ = False

    def fresh(self) -> Database:
        """Give an empty, migrated database; dispose of it after the test."""

    def close(self) -> None:
        """Take everything away again."""


def make_test_database(folder: Path, url: str | None = None) -> TestDatabases:
    """Return the source of databases for this run; ``url`` comes from the environment if None."""
    import_models()
    chosen = url or os.environ.get(VARIABLE)  # noqa: TID251 - tests choose their database so
    if chosen and not chosen.startswith("sqlite"):
        return _Server(chosen)
    return _Files(folder)


def import_models() -> None:
    """Import every feature's tables, so that the metadata is whole."""
    for feature in FEATURES:
        name = f"referral.{feature}.models"
        if find_spec(name) is not None:
            import_module(name)


def build(url: str) -> None:
    """Give the database its tables by the migrations, or from the code while there are none."""
    if schema.head() is None:
        database = Database(url)
        Base.metadata.create_all(database.engine)
        database.dispose()
    else:
        schema.upgrade(url)


class _Files:
    """One migrated file, copied for every test."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.template = folder / "template.db"
        build(f"sqlite:///{self.template}")
        self.made = 0

    def fresh(self) -> Database:
        self.made += 1
        path = self.folder / f"test{self.made}.db"
        shutil.copyfile(self.template, path)
        return Database(f"sqlite:///{path}")

    def close(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)


@dataclass
class _Server:
    """One schema of a server, emptied before every test."""

    base_url: str

    def __post_init__(self) -> None:
        self.schema = f"test_{secrets.token_hex(6)}"
        mark = "&" if "?" in self.base_url else "?"
        self.url = f"{self.base_url}{mark}options=-csearch_path%3D{self.schema}"
        self._run(f"CREATE SCHEMA {self.schema}")
        build(self.url)

    def fresh(self) -> Database:
        database = Database(self.url)
        with database.engine.begin() as connection:
            for table in reversed(Base.metadata.sorted_tables):  # quicker than TRUNCATE here
                connection.execute(table.delete())
        return database

    def close(self) -> None:
        self._run(f"DROP SCHEMA {self.schema} CASCADE")

    def _run(self, statement: str) -> None:
        engine = create_engine(self.base_url)
        with engine.begin() as connection:
            connection.execute(text(statement))
        engine.dispose()
