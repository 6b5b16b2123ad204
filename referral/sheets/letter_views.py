"""The page on which a vet has a sheet of their own made: referral, owner's copy, closing report."""

from typing import Any

from flask import Blueprint, make_response, render_template, request
from flask.typing import ResponseReturnValue

from referral.cases.choices import LETTERS
from referral.cases.visit import Visit, new_key, reading_case
from referral.core.workflow import Move
from referral.errors import Invalid
from referral.sheets.asking import ask
from referral.sheets.letters import check_letter, why_no_letter
from referral.sheets.orders import Order
from referral.sheets.schemas import LetterForm
from referral.sheets.snapshot import SheetKind
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import sign_in_required

blueprint = Blueprint("letters", __name__)

UNUSABLE = 422


@blueprint.get("/cases/<int:number>/sheets/new")
@sign_in_required
def new(number: int) -> ResponseReturnValue:
    """Show which sheets the vet can have made now."""
    return _form(number, FormState())


def _form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        session, access = visit.session, visit.access
        access.check_role(Move.SIGN_SHEET)
        reasons = [
            (kind, label, why_no_letter(session, access, SheetKind(kind)))
            for kind, label in LETTERS
        ]
    html = render_template(
        "sheets/new.html",
        number=number,
        revision=access.revision,
        options=[(kind, label) for kind, label, why in reasons if not why],
        missing=[(label, why) for _kind, label, why in reasons if why],
        form=state,
        key=new_key(),
    )
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/sheets")
@sign_in_required
def order(number: int) -> ResponseReturnValue:
    """Have a sheet made that the vet then looks at and signs."""
    try:
        return ask(number, _order)
    except Invalid as error:
        return _form(number, state_of_form(request.form, error), UNUSABLE)


def _order(visit: Visit) -> Order:
    visit.access.check_role(Move.SIGN_SHEET)
    given: dict[str, Any] = load_form(LetterForm(), request.form)
    kind = SheetKind(given["kind"])
    check_letter(visit.session, visit.access, kind)
    return Order(kind, "", {"words": given["words"]})
