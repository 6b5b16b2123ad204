"""The page on which a vet corrects who owns a horse, after somebody else had accepted."""

from flask import Blueprint, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import fields, validate

from referral.cases.mending import CorrectOwner, answers_by, correct_owner, owner_taken
from referral.cases.schemas import LONGEST_WORDS
from referral.cases.visit import Visit, based_on, keep_or_show, new_key, reading_case
from referral.core.workflow import Move
from referral.horses.schemas import OwnerForm
from referral.horses.service import MendOwner
from referral.web.forms import FormState, load_form
from referral.web.login import sign_in_required

blueprint = Blueprint("correcting", __name__)

SAID = "Corrected. Who was on as the owner sees nothing of the horse any more; the owner is asked."


class CorrectionForm(OwnerForm):
    """Who the owner is, and how it came that somebody else had accepted."""

    reason = fields.String(required=True, validate=validate.Length(max=LONGEST_WORDS))


@blueprint.get("/cases/<int:number>/owner-corrections/new")
@sign_in_required
def new(number: int) -> ResponseReturnValue:
    """Show who is on as the owner, what they answered, and the form that corrects it."""
    return _form(number, FormState())


@blueprint.post("/cases/<int:number>/owner-corrections")
@sign_in_required
def keep(number: int) -> ResponseReturnValue:
    """Correct who owns the horse."""
    return keep_or_show(number, _corrected, SAID, lambda state, code: _form(number, state, code))


def _corrected(visit: Visit) -> str:
    visit.access.check_role(Move.CORRECT_OWNER)
    given = load_form(CorrectionForm(), request.form)
    command = CorrectOwner(
        number=visit.number,
        owner=MendOwner(given["owner_name"], given["owner_email"]),
        reason=given["reason"],
        happened_on=visit.today,
        based_on=based_on(),
    )
    correct_owner(visit.session, visit.access, command, visit.now)
    return url_for("desk.case", number=visit.number)


def _form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.CORRECT_OWNER)
        person = owner_taken(visit.session, visit.access.horse_id)
        case_id = visit.access.case_id
        html = render_template(
            "cases/correct_owner.html",
            page={
                "number": number,
                "revision": visit.access.revision,
                "why_not": visit.access.why_not(Move.CORRECT_OWNER),
            },
            form=state,
            key=new_key(),
            owner=person,
            answers=answers_by(visit.session, case_id, person.id) if person else (),
        )
    return make_response(html, status)
