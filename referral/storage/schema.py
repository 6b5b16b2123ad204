"""The database's shape: bring it up to date, say where it is, say where it differs."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from referral.errors import SettingsFault, WrongState
from referral.storage.db import Base, make_engine

DANGLING = "The change would leave rows that point nowhere; nothing was done."
FOLDER = Path(__file__).resolve().parent / "migrations"


def upgrade(database_url: str) -> str | None:
    """Bring the database to the newest shape, and return the revision it is then at."""
    engine = make_engine(database_url)
    try:
        with _changing(engine) as connection:
            command.upgrade(_config(connection), "head")
        return current(engine)
    finally:
        engine.dispose()


def current(engine: Engine) -> str | None:
    """Return the revision the database is at, or None for an empty one."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def head() -> str | None:
    """Return the newest revision there is."""
    return ScriptDirectory(str(FOLDER)).get_current_head()


def is_current(engine: Engine) -> bool:
    """Say whether the database is at the newest revision."""
    return current(engine) == head()


def refuse_old(engine: Engine) -> None:
    """Accept a database at the newest revision.

    Raises
    ------
    SettingsFault
        If it is at another one, or cannot be reached.
    """
    try:
        up_to_date = is_current(engine)
    except DBAPIError as error:
        raise SettingsFault(f"The database cannot be reached: {error.orig}") from error
    if not up_to_date:
        raise SettingsFault("The database is not at the newest shape: run `referral db upgrade`.")


def differences(engine: Engine) -> list[str]:
    """Return what the tables of the database and of the code do not agree on."""
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        return [str(each) for each in compare_metadata(context, Base.metadata)]


def write_revision(database_url: str, number: str, words: str) -> None:
    """Write a new migration file from what the code has and the database lacks."""
    engine = make_engine(database_url)
    try:
        with _changing(engine) as connection:
            command.revision(_config(connection), words, autogenerate=True, rev_id=number)
    finally:
        engine.dispose()


@contextmanager
def _changing(engine: Engine) -> Iterator[Connection]:
    """Give a connection for one change of shape, made whole or not at all.

    SQLite changes a table by making it anew, so its foreign keys are looked at
    afterwards and not on the way.
    """
    sqlite = engine.dialect.name == "sqlite"
    with engine.execution_options(writes=True).connect() as connection:
        raw = connection.connection.driver_connection
        if sqlite and raw is not None:
            raw.execute("PRAGMA foreign_keys=OFF")
        with connection.begin():
            yield connection
            if sqlite and connection.exec_driver_sql("PRAGMA foreign_key_check").first():
                raise WrongState(DANGLING)
        connection.invalidate()


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    config.set_main_option("file_template", "%%(rev)s_%%(slug)s")
    config.attributes["connection"] = connection
    return config
