"""Resets: the form that is filled with the plan, and a reset beside its plan."""

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.cases.service import Words
from referral.cases.visit import Visit, based_on, changing_case, do_once, new_key, reading_case
from referral.core.workflow import Move
from referral.errors import Invalid
from referral.resets.pages import reset_form_page, reset_page
from referral.resets.schemas import CorrectionForm
from referral.resets.service import ask_correction
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import sign_in_required

blueprint = Blueprint("resets", __name__)

UNUSABLE = 422


@blueprint.get("/cases/<int:number>/resets/new")
@sign_in_required
def new_reset(number: int) -> ResponseReturnValue:
    """Show the form of a reset, filled with the plan; the sheet is made from it."""
    with reading_case(number) as visit:
        page = reset_form_page(visit.session, visit.access, visit.today)
    return render_template("resets/new.html", page=page, form=FormState(), key=new_key())


@blueprint.get("/cases/<int:number>/resets/<int:n>")
@sign_in_required
def show(number: int, n: int) -> ResponseReturnValue:
    """Show what was fitted beside the plan, judged anew."""
    return _show(number, n, FormState())


def _show(number: int, n: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        page = reset_page(visit.session, visit.access, n)
    html = render_template("resets/show.html", page=page, form=state, key=new_key())
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/resets/<int:n>/corrections")
@sign_in_required
def correction(number: int, n: int) -> ResponseReturnValue:
    """Ask the farrier to put the record right."""

    def act(visit: Visit) -> str:
        visit.access.check_role(Move.ASK_CORRECTION)
        given = load_form(CorrectionForm(), request.form)
        command = Words(given["words"], visit.today, based_on())
        ask_correction(visit.session, visit.access, n, command, visit.now)
        return url_for("desk.case", number=number)

    try:
        with changing_case(number) as visit:
            answer = do_once(visit, lambda: act(visit))
    except Invalid as error:
        return _show(number, n, state_of_form(request.form, error), UNUSABLE)
    flash("The farrier is asked to put the record right.")
    return answer
