"""Several reads in one statement: a page over many tables asks the database once.

Each read becomes one column of one row, a JSON list of its rows, which SQLite and PostgreSQL
both build. Values come back as their columns' types give them; only a real number keeps no more
than fifteen digits in SQLite, which is enough to print and not to judge by.
"""

import json
from collections import namedtuple
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import (
    JSON,
    BindParameter,
    Date,
    Float,
    Select,
    String,
    Uuid,
    bindparam,
    cast,
    func,
    inspect,
    select,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import Mapper, Session
from sqlalchemy.types import TypeEngine

from referral.storage.db import UtcDateTime

CaseId = UUID | BindParameter[UUID]
"""What a read of one case is asked by: the case itself, or the place that it is put in later."""

Rows = Select[*tuple[Any, ...]]
"""A read of any columns."""

Convert = Callable[[Any], Any]
Placed = Sequence[tuple[int, Convert]]


def asked_by(name: str, kind: TypeEngine[Any] | None = None) -> BindParameter[Any]:
    """Return the place in a read that a value, an id if nothing is said, is put in under a name."""
    return bindparam(name, None, type_=kind or Uuid())


class Together:
    """Reads that are made in one statement, each by its name.

    A read selects one mapped class, or columns; what it is asked by stands in it as named places.
    The statement is put together once for each kind of database.
    """

    def __init__(self, **reads: Rows) -> None:
        self.reads = reads
        self._made: dict[str, tuple[_Asking, list[_Part]]] = {}

    def read(self, session: Session, **asked: object) -> Mapping[str, Sequence[Any]]:
        """Return each read's rows in its order; a row has the names of the columns selected."""
        dialect = session.get_bind().dialect
        if dialect.name not in self._made:
            parts = [_part(name, read, dialect) for name, read in self.reads.items()]
            asking = _Asking(select(*(part.listed for part in parts)), dialect)
            self._made[dialect.name] = asking, parts
        asking, parts = self._made[dialect.name]
        found = asking.row(session, asked)
        return {part.name: part.rows(text) for part, text in zip(parts, found, strict=True)}


class _Asking:
    """A statement as the driver takes it, written out once.

    Over two dozen tables it is long, and the library would take as long to find what it wrote
    out before as the database takes to answer.
    """

    def __init__(self, statement: Rows, dialect: Dialect) -> None:
        compiled = statement.compile(dialect=dialect, compile_kwargs={"render_postcompile": True})
        self._text = str(compiled)
        self._order = compiled.positiontup
        self._given = {
            name: place.type.dialect_impl(dialect).bind_processor(dialect)
            for name, place in compiled.binds.items()
        }
        self._values = self._as_given(compiled.params)
        self._asked_by = frozenset(
            name for name, place in compiled.binds.items() if not place.unique
        )

    def row(self, session: Session, asked: Mapping[str, object]) -> Sequence[Any]:
        """Return the one row of the answer."""
        if asked.keys() != self._asked_by:
            message = f"The read is asked by {', '.join(sorted(self._asked_by))}."
            raise TypeError(message)
        values: Any = {**self._values, **self._as_given(asked)}
        if self._order is not None:
            values = tuple(values[name] for name in self._order)
        session.flush()
        return session.connection().exec_driver_sql(self._text, values).one()

    def _as_given(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """Return values as the driver takes them."""
        return {
            name: given(value) if (given := self._given.get(name)) else value
            for name, value in values.items()
        }


@dataclass(frozen=True, slots=True)
class _Part:
    """One read as a column of JSON, what its rows look like, and how their values come back."""

    name: str
    listed: Any
    make: Callable[[Sequence[Any]], Any]
    converts: Placed

    def rows(self, text: str) -> Sequence[Any]:
        rows = json.loads(text)
        for values in rows:
            for place, convert in self.converts:
                if values[place] is not None:
                    values[place] = convert(values[place])
        return [self.make(values) for values in rows]


def _part(name: str, read: Rows, dialect: Dialect) -> _Part:
    columns = dict(_columns(read))
    query = read.with_only_columns(
        *(column.label(key) for key, column in columns.items()), maintain_column_froms=True
    ).subquery(name)
    if dialect.name == "sqlite":
        # JSON that is kept as text goes in as JSON, so that the whole is read once
        values = (func.json(each) if isinstance(each.type, JSON) else each for each in query.c)
        listed = func.json_group_array(func.json_array(*values))
    else:
        rows = func.json_agg(func.json_build_array(*query.c))
        listed = func.coalesce(cast(rows, String), "[]")
    # a tuple whose fields are known only here
    row = namedtuple(name, columns)  # type: ignore[misc]  # noqa: PYI024
    back = [_back(column.type, dialect) for column in columns.values()]
    return _Part(
        name,
        select(listed).scalar_subquery().label(name),
        row._make,
        [(place, each) for place, each in enumerate(back) if each is not None],
    )


def _columns(read: Rows) -> Iterator[tuple[str, Any]]:
    for each in read.column_descriptions:
        if isinstance(each["expr"], type):
            mapper: Mapper[Any] = inspect(each["expr"])
            for attribute in mapper.column_attrs:
                yield attribute.key, getattr(each["expr"], attribute.key)
        else:
            yield each["name"], each["expr"]


def _back(kind: TypeEngine[Any], dialect: Dialect) -> Convert | None:
    """Return what makes a column's value of what JSON carries of it, where they are not the same.

    SQLite keeps days, moments and ids as text, which its own types read as ever;
    PostgreSQL has types for them, which JSON writes out, and whole real numbers as such.
    """
    if isinstance(kind, JSON):
        return None
    if dialect.name == "sqlite":
        return kind.dialect_impl(dialect).result_processor(dialect, None)
    return next((back for type_, back in WRITTEN_OUT if isinstance(kind, type_)), None)


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


WRITTEN_OUT: tuple[tuple[type, Convert], ...] = (
    (Uuid, UUID),
    (UtcDateTime, _moment),
    (Date, date.fromisoformat),
    (Float, float),
)
