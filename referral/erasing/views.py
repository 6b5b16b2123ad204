"""The pages on which a case is kept whole, and on which something of it is erased for good."""

from functools import partial
from uuid import UUID

from flask import Blueprint, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema

from referral.cases.erasures import erasures_of
from referral.cases.holds import check_keeper, hold_on, lift_hold, place_hold
from referral.cases.schemas import words
from referral.cases.visit import Visit, keep_or_show, new_key, reading_case
from referral.core.workflow import Move
from referral.erasing.listing import to_erase
from referral.erasing.service import Erase, check_erasable, erase
from referral.web.forms import FormState, load_form
from referral.web.login import sign_in_required

blueprint = Blueprint("erasing", __name__)

GONE = "It is erased. Its files are deleted by now, or within a quarter of an hour."
HELD = "The case is under legal hold: nothing of it is erased until that is lifted."
LIFTED = "The legal hold is lifted."


class WhyForm(Schema):
    """Why something is erased, or a case is held."""

    why = words(required=True)


@blueprint.get("/cases/<int:number>/erasures")
@sign_in_required
def show(number: int) -> ResponseReturnValue:
    """Show whether the case is held, what can be erased, and what was."""
    return _overview(number, FormState())


def _overview(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        check_keeper(visit.session, visit.access, Move.ERASE)
        case_id = visit.access.case_id
        html = render_template(
            "erasing/overview.html",
            form=state,
            number=number,
            revision=visit.access.revision,
            key=new_key(),
            hold=hold_on(visit.session, case_id),
            groups=to_erase(visit.session, case_id),
            erased=erasures_of(visit.session, case_id),
        )
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/legal-holds")
@sign_in_required
def place(number: int) -> ResponseReturnValue:
    """Put the case under legal hold."""

    def act(visit: Visit) -> str:
        check_keeper(visit.session, visit.access, Move.PLACE_HOLD)
        place_hold(visit.session, visit.access, _why(), visit.today, visit.now)
        return url_for("erasing.show", number=number)

    return keep_or_show(number, act, HELD, partial(_overview, number))


@blueprint.post("/cases/<int:number>/legal-holds/end")
@sign_in_required
def lift(number: int) -> ResponseReturnValue:
    """Lift the legal hold on the case."""

    def act(visit: Visit) -> str:
        check_keeper(visit.session, visit.access, Move.LIFT_HOLD)
        lift_hold(visit.session, visit.access, _why(), visit.today, visit.now)
        return url_for("erasing.show", number=number)

    return keep_or_show(number, act, LIFTED, partial(_overview, number))


def _why() -> str:
    given = load_form(WhyForm(), request.form)
    return str(given["why"])


@blueprint.get(
    "/cases/<int:number>/erasures/<any(words, film, photo, sheet):what>/<uuid:subject_id>"
)
@sign_in_required
def confirm(number: int, what: str, subject_id: UUID) -> ResponseReturnValue:
    """Show what would go and what would stay, and ask why."""
    return _confirm(number, what, subject_id, FormState())


def _confirm(
    number: int, what: str, subject_id: UUID, state: FormState, status: int = 200
) -> ResponseReturnValue:
    with reading_case(number) as visit:
        session, access, blobs = visit.session, visit.access, visit.wired.blobs
        going = check_erasable(session, access, blobs, what, subject_id)
        html = render_template(
            "erasing/confirm.html",
            form=state,
            number=number,
            revision=access.revision,
            key=new_key(),
            going=going,
        )
    return make_response(html, status)


@blueprint.post(
    "/cases/<int:number>/erasures/<any(words, film, photo, sheet):what>/<uuid:subject_id>"
)
@sign_in_required
def erase_it(number: int, what: str, subject_id: UUID) -> ResponseReturnValue:
    """Erase it for good."""

    def act(visit: Visit) -> str:
        check_keeper(visit.session, visit.access, Move.ERASE)
        command = Erase(what, subject_id, _why(), visit.today)
        erase(visit.session, visit.access, visit.wired.blobs, command, visit.now)
        return url_for("erasing.show", number=number)

    return keep_or_show(number, act, GONE, partial(_confirm, number, what, subject_id))
