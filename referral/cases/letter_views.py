"""The page behind the address in a letter to somebody who is asked onto a case."""

from uuid import UUID

from flask import Blueprint, flash, make_response, redirect, render_template, request, session
from flask import url_for as address_of
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.accounts.passwords import LONGEST
from referral.accounts.service import LONGEST_NAME
from referral.cases.answering import (
    SetUp,
    Way,
    by_letter,
    decline_by_letter,
    set_up_owner,
)
from referral.cases.joining import answer_invitation
from referral.cases.links import invitation_of
from referral.clock import day_at
from referral.errors import Invalid
from referral.web import login
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, is_signed_in
from referral.web.wiring import wiring

blueprint = Blueprint("letters_to_asked", __name__)

UNUSABLE = 422


class AnswerForm(Schema):
    """Accept or decline."""

    answer = fields.String(required=True, validate=validate.OneOf(("accept", "decline")))


class SetUpForm(AnswerForm):
    """The name and the password of an owner who comes for the first time."""

    name = fields.String(required=True, validate=validate.Length(max=LONGEST_NAME))
    password = fields.String(required=True, validate=validate.Length(max=4 * LONGEST))


@blueprint.get("/asked/<token>")
def show(token: str) -> ResponseReturnValue:
    """Show who asks, as what, and what accepting needs; opening it changes nothing."""
    return _page(token, FormState())


@blueprint.post("/asked/<token>")
def answer(token: str) -> ResponseReturnValue:
    """Accept or decline; an owner who has no account makes one in the same step."""
    wired = wiring()
    invitation_id = invitation_of(wired.settings.secret_key, token)
    if request.form.get("answer") == "decline":
        return _declined(invitation_id)
    try:
        return _accepted(invitation_id)
    except Invalid as error:
        return _page(token, state_of_form(request.form, error, secret=("password",)), UNUSABLE)


def _declined(invitation_id: UUID) -> ResponseReturnValue:
    wired = wiring()
    with wired.database.transaction() as writing:
        decline_by_letter(writing, invitation_id, wired.now())
    return render_template("cases/declined.html")


def _accepted(invitation_id: UUID) -> ResponseReturnValue:
    wired, now = wiring(), wiring().now()
    today = day_at(now, wired.settings.zone)
    if is_signed_in():
        load_form(AnswerForm(), request.form)
        with wired.database.transaction() as writing:
            number = answer_invitation(
                writing, current_actor(), invitation_id, accepts=True, today=today, now=now
            )
        flash("You are on the case.")
        return redirect(address_of("desk.case", number=number), 303)
    given = load_form(SetUpForm(), request.form)
    device = request.user_agent.string or "unknown browser"
    command = SetUp(given["name"], given["password"], device)
    made = set_up_owner(wired.database, wired.passwords, invitation_id, command, today, now)
    session.clear()
    response = redirect(address_of("desk.case", number=made.number), 303)
    login.give_token(response, made.token)
    return response


def _page(token: str, state: FormState, status: int = 200) -> ResponseReturnValue:
    wired = wiring()
    invitation_id = invitation_of(wired.settings.secret_key, token)
    actor = current_actor() if is_signed_in() else None
    with wired.database.reading() as reading:
        letter = by_letter(reading, actor, invitation_id, wired.now())
    html = render_template(
        "cases/letter.html",
        form=state,
        letter=letter,
        token=token,
        way=letter.way.value,
        house=wired.settings.instance_name,
        needs_form=letter.way is Way.SET_UP,
    )
    return make_response(html, status)
