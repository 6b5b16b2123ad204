"""The page on which a practice says what number is rung when it is closed."""

from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once, new_key
from referral.accounts.practices import practice_of, set_out_of_hours
from referral.accounts.schemas import OutOfHoursForm
from referral.errors import Invalid
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("practices", __name__)

UNUSABLE = 422


@blueprint.get("/account/practices/<uuid:organisation_id>")
@sign_in_required
def show(organisation_id: UUID) -> ResponseReturnValue:
    """Show a practice's out-of-hours number to its vets and coordinators."""
    return _page(organisation_id, FormState())


@blueprint.post("/account/practices/<uuid:organisation_id>/out-of-hours")
@sign_in_required
def out_of_hours(organisation_id: UUID) -> ResponseReturnValue:
    """Set a practice's out-of-hours number, or take it away."""
    wired, actor = wiring(), current_actor()

    def act() -> str:
        typed = load_form(OutOfHoursForm(), request.form)["out_of_hours_phone"]
        set_out_of_hours(session, practice, typed)
        return url_for("practices.show", organisation_id=organisation_id)

    try:
        with wired.database.transaction() as session:
            practice = practice_of(session, actor, organisation_id)
            answer = do_once(session, actor.person_id, wired.now(), act)
    except Invalid as error:
        return _page(organisation_id, state_of_form(request.form, error), UNUSABLE)
    flash("Kept. It is shown from now on wherever a red flag says whom to ring.")
    return answer


def _page(organisation_id: UUID, state: FormState, status: int = 200) -> ResponseReturnValue:
    with wiring().database.reading() as session:
        practice = practice_of(session, current_actor(), organisation_id)
        page = render_template(
            "accounts/practice.html", form=state, key=new_key(), practice=practice
        )
    return make_response(page, status)
