"""Asking for a sheet in a request: order it, wait a little for the worker, say what came of it."""

import time
from collections.abc import Callable
from uuid import UUID

from flask import url_for
from flask.typing import ResponseReturnValue

from referral.cases.visit import Visit, changing_case, do_once, reading_case
from referral.errors import Invalid
from referral.sheets.orders import Order, ask_for_sheet, is_ready
from referral.sheets.queries import order_of
from referral.web.wiring import wiring

LONGEST_WAIT_S = 8.0
BETWEEN_LOOKS_S = 0.02


def ask(number: int, order: Callable[[Visit], Order]) -> ResponseReturnValue:
    """Order a sheet and go to its page, which shows it, or that it is being made.

    Raises
    ------
    Invalid
        If what was typed cannot be used, or the worker could not make the sheet.
    """
    asked: list[UUID] = []

    def act(visit: Visit) -> str:
        asked.append(ask_for_sheet(visit.session, visit.access, order(visit), visit.now))
        return url_for("sheets.proposal", number=number, sheet_id=asked[0])

    with changing_case(number) as visit:
        answer = do_once(visit, lambda: act(visit))
    if asked:
        _await(asked[0])
        _say_why_not(number, asked[0])
    return answer


def _await(sheet_id: UUID) -> None:
    wired = wiring()
    if wired.work is not None:
        wired.work()
    until = time.monotonic() + LONGEST_WAIT_S
    while time.monotonic() < until:
        with wired.database.reading() as session:
            if is_ready(session, sheet_id):
                return
        time.sleep(BETWEEN_LOOKS_S)


def _say_why_not(number: int, sheet_id: UUID) -> None:
    with reading_case(number) as visit:
        row = order_of(visit.session, visit.access.case_id, visit.access.actor_id, sheet_id)
        if row is not None and row.refusal:
            raise Invalid(row.refusal)
