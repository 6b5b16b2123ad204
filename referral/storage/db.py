"""The database: one engine, one transaction a request, one declarative base.

SQLite runs with the driver's own transaction control off, WAL, foreign keys on
and BEGIN IMMEDIATE for writes, so that two people saving at once wait for each
other instead of failing. PostgreSQL needs none of that.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import DateTime, Engine, MetaData, Uuid, create_engine, event
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Session
from sqlalchemy.types import JSON, TypeDecorator

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class UtcDateTime(TypeDecorator[datetime]):
    """An aware UTC moment; databases without time zones get it back aware."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - signature is the library's
        """Refuse naive moments; store UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            message = "A moment must carry its time zone."
            raise ValueError(message)
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - signature is the library's
        """Give back an aware UTC moment."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """All tables; every constraint is named, every moment is UTC."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {  # noqa: RUF012 - read by SQLAlchemy as a class attribute
        datetime: UtcDateTime,
        UUID: Uuid(),
        dict[str, Any]: JSON,
        list[Any]: JSON,
    }


def make_engine(url: str) -> Engine:
    """Return an engine for the database at ``url``, set up for its kind."""
    if url.startswith("sqlite"):
        return _sqlite_engine(url)
    return create_engine(url, pool_pre_ping=True, hide_parameters=True)


def _sqlite_engine(url: str) -> Engine:
    engine = create_engine(
        url, connect_args={"timeout": 10, "check_same_thread": False}, hide_parameters=True
    )

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: object) -> None:  # noqa: ANN401 - the driver's own type
        connection.isolation_level = None  # we say BEGIN ourselves
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA foreign_keys=ON")
        connection.execute("PRAGMA synchronous=NORMAL")
        connection.execute("PRAGMA secure_delete=ON")  # what is erased is overwritten in the file

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Any) -> None:  # noqa: ANN401 - the library's event gives either kind
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


class Database:
    """One engine and its sessions: ``reading()`` for pages, ``transaction()`` for moves."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine = make_engine(url)
        self._writing = self.engine.execution_options(writes=True)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session that only reads; closing it rolls back and keeps what was read."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """Give a session whose work is committed whole, or not at all."""
        with Session(self._writing, expire_on_commit=False) as session, session.begin():
            yield session

    def dispose(self) -> None:
        """Close every connection."""
        self.engine.dispose()
