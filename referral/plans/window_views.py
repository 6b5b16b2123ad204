"""The window of plans that would meet every limit, for a plan that is being written."""

import gzip
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from threading import Lock
from typing import Any
from uuid import UUID

from flask import Blueprint, Response, abort, json, render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from referral.cases.visit import Visit, reading_case
from referral.core.workflow import Move
from referral.errors import NotAllowed
from referral.plans.asking import command_from, command_of
from referral.plans.queries import Wanted, subject_of
from referral.plans.schemas import DrawnForm, WindowForm
from referral.plans.service import SubmitPlan
from referral.plans.window_answers import window_answer
from referral.plans.windows import LimbWindow, limb_windows
from referral.web.forms import load_form, load_json
from referral.web.login import current_actor, sign_in_required

blueprint = Blueprint("windows", __name__)

TOO_MANY = 429
_asking: set[UUID] = set()
_turns = Lock()
"""Held while somebody is written into or out of those whose question is being answered."""
PACKED = 5
"""How hard an answer is packed: harder takes longer than it saves on a phone's line."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A question for a window: of which case, drawn or in numbers, and the JSON plan if it is."""

    case: int
    draw: bool
    plan: dict[str, Any] | None

    def command(self, visit: Visit) -> SubmitPlan:
        """Return the plan that the question is about."""
        if self.plan is None:
            return command_of(visit, also=DrawnForm().fields)
        return command_from(visit, self.plan)


@blueprint.post("/api/window")
@sign_in_required
def ask() -> ResponseReturnValue:
    """Answer which trims and wedges would meet every limit, with nothing stored."""
    asked = _asked()
    with _in_turn(current_actor().person_id), reading_case(asked.case) as visit:
        if not visit.access.may_ever(Move.SUBMIT_PLAN, Move.AMEND_PLAN):
            raise NotAllowed("Plans are written by the farrier, and changed by the vet.")
        command = asked.command(visit)
        wanted = Wanted(command.limbs, None, command.recheck_owner, command.recheck_on)
        subject = subject_of(visit.session, visit.access, wanted)
        windows = limb_windows(subject, visit.wired.rulebook, visit.now.date())
    answers = [window_answer(each, drawn=_drawn(each, asked)) for each in windows]
    return _packed(json.dumps({"limbs": answers}, separators=(",", ":")))


@contextmanager
def _in_turn(person_id: UUID) -> Iterator[None]:
    """Let a person ask one question at a time: a window is dear, and a newer one waits for it."""
    with _turns:
        if person_id in _asking:
            abort(TOO_MANY)
        _asking.add(person_id)
    try:
        yield
    finally:
        with _turns:
            _asking.discard(person_id)


def _asked() -> Asked:
    if request.is_json:
        given = load_json(WindowForm(), request.get_json())
        return Asked(given["case"], given["draw"], given)
    fields = DrawnForm().fields
    mine = MultiDict((name, each) for name in fields for each in request.form.getlist(name))
    given = load_form(DrawnForm(), mine)
    return Asked(given["case"], given["draw"], None)


def _drawn(window: LimbWindow, asked: Asked) -> str | None:
    return render_template("plans/_windows.html", windows=[window]) if asked.draw else None


def _packed(text: str) -> Response:
    """Return the answer, packed where the browser takes it so: a phone's line is slow."""
    response = Response(text, content_type="application/json")
    response.vary.add("Accept-Encoding")
    if request.accept_encodings["gzip"] > 0:
        response.set_data(gzip.compress(text.encode(), PACKED, mtime=0))
        response.content_encoding = "gzip"
    return response
