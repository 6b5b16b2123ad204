"""How long a long case's page takes beside its own SQL, and what a hundred thousand cases cost."""

import http.client
import json
import multiprocessing
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from multiprocessing.connection import Connection
from typing import Any
from urllib.parse import quote

import flask
import waitress  # type: ignore[import-untyped]  # the library has no types
from sqlalchemy import event, insert
from sqlalchemy.engine import Engine

from referral.accounts.passwords import LEAST_COST, Passwords
from referral.accounts.service import AddPerson, add_person
from referral.accounts.sign_in import open_session, resume_session
from referral.cases.models import Case, CaseMember, Entry
from referral.cases.queries import case_for
from referral.clock import utc_now
from referral.desk.queries import case_page
from referral.exchange.bench_sheets import MOVES, Desk, Told, a_desk, take
from referral.exchange.timing import medians_ms
from referral.storage.db import Database
from referral.storage.ids import new_id
from referral.web.login import COOKIE

RESETS = 30
WEEKS = 5
FEW, MANY = 1_000, 100_000
BATCH = 5_000
AT_MOST = 21
ROUND: tuple[Told, ...] = (
    MOVES[-1],
    ("vet", "agree", {"waivers": dict.fromkeys(("R04", "R08", "R10", "R12"), "For the bench.")}),
    ("farrier", "accept", {}),
    ("vet", "consent", {"given_by": "The owner", "how": "telephone"}),
    ("farrier", "fit", {}),
    ("vet", "countersign", {}),
)
"""What is done at each reset."""

Statement = tuple[str, Any]

BARE = {
    "nothing": "",
    "what came as it came": "{{ found }}",
    "its rows": (
        "{% for rows in tables %}<table>{% for row in rows %}<tr>"
        "{% for value in row %}<td>{{ value }}</td>{% endfor %}</tr>{% endfor %}</table>"
        "{% endfor %}"
    ),
}
"""What bare pages make of the rows: each by what it prints."""


def page_figures() -> Mapping[str, str]:
    """Return what the case page asks and takes, and how the desk bears many cases of others'."""
    start = utc_now() - timedelta(weeks=WEEKS * (RESETS + 1))
    with a_desk(start, MOVES[:-1]) as desk:
        for n in range(RESETS):
            take(desk, ROUND, desk.now + timedelta(weeks=WEEKS * n, hours=1))
        with _served(desk) as get:
            return {**_case_figures(desk, get), **_crowd_figures(desk, get)}


def _case_figures(desk: Desk, get: Callable[[str], bytes]) -> Mapping[str, str]:
    asked = _asked(desk.place.database.engine, lambda: _read_case(desk))
    with _bare(desk.place.database, asked) as get_bare:
        page_ms, *bare_ms = medians_ms(
            [
                lambda: get(f"/cases/{desk.place.access.number}"),
                *(partial(get_bare, f"/{name}") for name in BARE),
            ],
            AT_MOST,
        )
    bare = dict(zip(BARE, bare_ms, strict=True))
    return {
        f"statements for a case page with {RESETS} resets": f"{len(asked)}",
        f"the case page with {RESETS} resets": f"{page_ms:.1f} ms",
        **{f"a page of the same SQL that prints {n}": f"{ms:.1f} ms" for n, ms in bare.items()},
        **{f"over that which prints {n}": f"{page_ms / ms:.2f}" for n, ms in bare.items()},
    }


def _crowd_figures(desk: Desk, get: Callable[[str], bytes]) -> Mapping[str, str]:
    paths = ("/", f"/cases/{desk.place.access.number}")
    took = {}
    have = 1
    for wanted in (FEW, MANY):
        _crowd(desk, have, wanted)
        have = wanted
        took[wanted] = medians_ms([partial(get, path) for path in paths], AT_MOST)
    ratios = [many / few for few, many in zip(took[FEW], took[MANY], strict=True)]
    return {
        f"the desk among {FEW} cases": f"{took[FEW][0]:.1f} ms",
        f"the desk, {MANY} cases over {FEW}": f"{ratios[0]:.2f}",
        f"the case page, {MANY} cases over {FEW}": f"{ratios[1]:.2f}",
    }


def _read_case(desk: Desk) -> None:
    place = desk.place
    token = _token(desk)
    resume_session(place.database, token, utc_now())
    with place.database.reading() as session:
        access = case_for(session, place.access.actor_id, place.access.number)
        case_page(session, access, utc_now())


def _token(desk: Desk) -> str:
    with desk.place.database.transaction() as session:
        return open_session(session, desk.place.access.actor_id, "bench", utc_now())


def _asked(engine: Engine, act: Callable[[], None]) -> list[Statement]:
    """Return every SELECT that an act makes, with its values."""
    asked: list[Statement] = []

    def keep(_conn: Any, _cursor: Any, said: str, values: Any, *_rest: Any) -> None:  # noqa: ANN401 - the library's signature
        if said.lstrip().startswith("SELECT"):
            asked.append((said, values))

    event.listen(engine, "before_cursor_execute", keep)
    act()
    event.remove(engine, "before_cursor_execute", keep)
    return asked


@contextmanager
def _bare(database: Database, asked: Sequence[Statement]) -> Iterator[Callable[[str], bytes]]:
    """Serve bare pages of these statements as an instance is served: by a process of their own."""
    here, there = multiprocessing.Pipe()
    serving = multiprocessing.get_context("spawn").Process(
        target=_serve_bare, args=(database.url, asked, there), daemon=True
    )
    serving.start()
    line = http.client.HTTPConnection("localhost", here.recv(), timeout=60)
    yield lambda path: _page(line, quote(path))
    line.close()
    serving.terminate()


def _serve_bare(url: str, asked: Sequence[Statement], told: Connection) -> None:
    app, database = flask.Flask("bare"), Database(url)

    @app.get("/<name>")
    def page(name: str) -> str:
        with database.engine.connect() as connection:
            found = [connection.exec_driver_sql(*each).fetchall() for each in asked]
        tables = [rows for each in found for rows in _tables(each)] if "rows" in name else ()
        return flask.render_template_string(BARE[name], found=found, tables=tables)

    server = waitress.create_server(app, host="localhost", port=0)
    told.send(server.effective_port)
    server.run()


def _page(
    line: http.client.HTTPConnection, path: str, headers: Mapping[str, str] | None = None
) -> bytes:
    line.request("GET", path, headers=headers or {})
    answer = line.getresponse()
    page = answer.read()
    if answer.status != http.client.OK:
        raise RuntimeError(f"{path} answered {answer.status}.")
    return page


def _tables(found: Sequence[Any]) -> Iterator[Sequence[Any]]:
    """Yield the rows that came as rows, and those of each list that came as JSON."""
    written = [each for row in found for each in row if str(each).startswith("[")]
    yield from map(json.loads, written) if written else [found]


@contextmanager
def _served(desk: Desk) -> Iterator[Callable[[str], bytes]]:
    command = [sys.executable, "-u", "-m", "referral.cli", "serve", "--instance", str(desk.folder)]
    with subprocess.Popen(  # noqa: S603 - our own command
        command, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            lines = iter(process.stdout.readline, "") if process.stdout else iter(())
            port = int(next(each for each in lines if "http://" in each).rpartition(":")[2])
            line = http.client.HTTPConnection("localhost", port, timeout=60)
            signed_in = {"Cookie": f"{COOKIE}={_token(desk)}"}
            yield lambda path: _page(line, path, signed_in)
            line.close()
        finally:
            process.terminate()


def _crowd(desk: Desk, have: int, wanted: int) -> None:
    """Add cases of somebody else's until there are as many as wanted."""
    place, now = desk.place, utc_now()
    with place.database.transaction() as session:
        other = add_person(
            session,
            Passwords(LEAST_COST),
            AddPerson("Other", f"other{wanted}@example.org", "owner"),
            now,
        ).id
        case = _values(session.get_one(Case, place.access.case_id))
        entry = _values(session.query(Entry).filter_by(case_id=case["id"], seq=1).one())
        member = {"organisation_id": None, "role": "owner", "since": now, "until": None}
        numbers = range(place.access.number + have, place.access.number + wanted)
        for start in range(0, len(numbers), BATCH):
            ids = {new_id(now): number for number in numbers[start : start + BATCH]}
            session.execute(insert(Case), [{**case, "id": k, "number": n} for k, n in ids.items()])
            session.execute(
                insert(CaseMember),
                [{**member, "id": new_id(now), "case_id": k, "person_id": other} for k in ids],
            )
            session.execute(
                insert(Entry), [{**entry, "id": new_id(now), "case_id": k} for k in ids]
            )


def _values(row: Any) -> dict[str, Any]:  # noqa: ANN401 - a row of any table
    return {column.key: getattr(row, column.key) for column in row.__mapper__.column_attrs}
