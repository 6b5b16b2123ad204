"""One request on one case: who asks, what they may see, and doing a form once."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime

from flask import flash, request
from flask.typing import ResponseReturnValue
from sqlalchemy.orm import Session

from referral.accounts import idempotency
from referral.accounts.idempotency import new_key
from referral.cases.access import CaseAccess
from referral.cases.queries import case_for, entries_since, names_on
from referral.cases.words import entry_says
from referral.clock import day_at
from referral.errors import Invalid, OutOfDate, WrongState
from referral.web.forms import SUMMARY, FormState, parse_date, state_of_form
from referral.web.login import current_actor
from referral.web.wiring import Wiring, wiring

__all__ = [
    "Visit",
    "based_on",
    "changing_case",
    "do_once",
    "happened_on",
    "keep_or_show",
    "late_form",
    "new_key",
    "not_to_come",
    "reading_case",
]

REVISION = re.compile(r"[0-9]{1,9}")
STILL_HERE = "What you typed is still here: look at the case, then send it again."
TO_COME = "This day has not come yet."


UNUSABLE = 422
MOVED_ON = 409


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


Act = Callable[[Visit], str]
"""What a form does on a case; returns where it leads."""

Show = Callable[[FormState, int], ResponseReturnValue]
"""Shows a form as it stands, under a status."""


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
    now = wired.now()
    access = case_for(session, current_actor().person_id, number, now)
    return Visit(wired, session, access, now, day_at(now, access.zone))


def based_on() -> int | None:
    """Return the revision that the form was made on, if it says one."""
    said = request.form.get("revision", "")
    return int(said) if REVISION.fullmatch(said) else None


def happened_on(today: date) -> date:
    """Return the day the form says something happened, else today.

    Raises
    ------
    Invalid
        If it is no day, or one that has not come yet.
    """
    said = request.form.get("happened_on", "").strip()
    if not said:
        return today
    try:
        day = parse_date(said)
    except ValueError as error:
        raise Invalid(SUMMARY, {"happened_on": [str(error)]}) from error
    return not_to_come(day, today, "happened_on")


def not_to_come(day: date, today: date, field: str) -> date:
    """Return the day if it has come.

    Raises
    ------
    Invalid
        If it lies after today, at the field that gave it.
    """
    if day > today:
        raise Invalid(SUMMARY, {field: [TO_COME]})
    return day


def do_once(visit: Visit, act: Callable[[], str]) -> ResponseReturnValue:
    """Do what a form on a case asks and go where it leads; the same form again only goes there.

    Raises
    ------
    Invalid
        If the form has no key, or none that a page of ours gives.
    OutOfDate
        If the form's key was used with other content.
    """
    return idempotency.do_once(visit.session, visit.access.actor_id, visit.now, act)


def keep_or_show(number: int, act: Act, said: str, show: Show) -> ResponseReturnValue:
    """Do what a form on a case asks, once, and say so; or show it again with what is wrong."""
    try:
        with changing_case(number) as visit:
            answer = do_once(visit, lambda: act(visit))
    except Invalid as error:
        return show(state_of_form(request.form, error), UNUSABLE)
    except (OutOfDate, WrongState) as error:
        with reading_case(number) as visit:
            state = late_form(visit, error)
        return show(state, MOVED_ON)
    if said:
        flash(said)
    return answer


NEVER_SHOWN = ("password", "code")


def late_form(visit: Visit, error: OutOfDate | WrongState) -> FormState:
    """Return a form that came too late, as typed, with what has happened on the case since.

    Shown again on the case as it is now, it can be sent once more.
    """
    late = Invalid(error.message, {"": happened_since(visit)})
    state = state_of_form(request.form, late, secret=NEVER_SHOWN)
    return replace(state, sentence=f"{error.message} {STILL_HERE}")


def happened_since(visit: Visit) -> list[str]:
    """Return what others and oneself did since the form's page was opened, a sentence each."""
    seen = based_on()
    if seen is None:
        return []
    names = names_on(visit.session, visit.access.case_id)
    return [
        f"Since then {names.get(each.actor_id, 'somebody')} {entry_says(each.kind, each.content)}."
        for each in entries_since(visit.session, visit.access.case_id, seen)
    ]
