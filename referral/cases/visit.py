"""One request on one case: who asks, what they may see, and doing a form once."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from uuid import uuid4

from flask import redirect, request
from flask.typing import ResponseReturnValue
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.idempotency import answered_before, remember
from referral.cases.queries import case_for
from referral.clock import today_in
from referral.storage.canonical import canonical_json, sha256_hex
from referral.web.login import current_actor
from referral.web.wiring import Wiring, wiring

MOST_KEY_LETTERS = 64
NOT_WHAT_IS_SAID = frozenset({"csrf_token", "password"})
"""Fields that are no part of what a form asks for; a secret must not be kept, even hashed."""


@dataclass(frozen=True, slots=True)
class Visit:
    """Everything a view hands down for one case."""

    wired: Wiring
    session: Session
    access: CaseAccess
    now: datetime
    today: date

    @property
    def number(self) -> int:
        """The case's number, for addresses."""
        return self.access.number


@contextmanager
def reading_case(number: int) -> Iterator[Visit]:
    """Give a visit that only reads.

    Raises
    ------
    NotFound
        If the person who asks may not see such a case.
    """
    wired = wiring()
    with wired.database.reading() as session:
        yield _visit(wired, session, number)


@contextmanager
def changing_case(number: int) -> Iterator[Visit]:
    """Give a visit whose work is kept whole, or not at all.

    Raises
    ------
    NotFound
        If the person who asks may not see such a case.
    """
    wired = wiring()
    with wired.database.transaction() as session:
        yield _visit(wired, session, number)


def _visit(wired: Wiring, session: Session, number: int) -> Visit:
    access = case_for(session, current_actor().person_id, number)
    return Visit(wired, session, access, wired.now(), today_in(access.zone))


def new_key() -> str:
    """Return an identity for a form that is about to be shown."""
    return str(uuid4())


def based_on() -> int | None:
    """Return the revision that the form was made on, if it says one."""
    said = request.form.get("revision", "")
    return int(said) if said.isascii() and said.isdigit() else None


def happened_on(today: date) -> date:
    """Return the day the form says something happened, else today; never a day to come."""
    said = request.form.get("happened_on", "")
    try:
        day = date.fromisoformat(said)
    except ValueError:
        return today
    return min(day, today)


def do_once(visit: Visit, act: Callable[[], str]) -> ResponseReturnValue:
    """Do what a form asks and go where it leads; the same form again only goes there.

    Raises
    ------
    OutOfDate
        If the form's key was used with other content.
    """
    key = request.form.get("idempotency_key", "")[:MOST_KEY_LETTERS]
    person = visit.access.actor_id
    body = _body_sha256()
    if key and (location := answered_before(visit.session, person, key, body)):
        return redirect(location, 303)
    location = act()
    if key:
        remember(visit.session, person, key, body, location, visit.now)
    return redirect(location, 303)


def _body_sha256() -> str:
    said = {name: request.form.getlist(name) for name in request.form if name not in NOT_WHAT_IS_SAID}
    files = {name: file.filename or "" for name, file in request.files.items()}
    return sha256_hex(canonical_json({"path": request.path, "form": said, "files": files}))
