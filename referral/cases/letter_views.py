"""The page behind the address in a letter to somebody who is asked onto a case."""

from uuid import UUID

from flask import Blueprint, flash, make_response, redirect, render_template, request, session
from flask import url_for as address_of
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.accounts.actor import Actor
from referral.accounts.idempotency import do_once, new_key
from referral.accounts.passwords import LONGEST
from referral.accounts.service import LONGEST_NAME
from referral.cases.answering import (
    SetUp,
    SetUpResult,
    Way,
    by_letter,
    decline_by_letter,
    set_up_before,
    set_up_owner,
)
from referral.cases.joining import answer_invitation
from referral.cases.links import invitation_of
from referral.clock import day_at
from referral.errors import Invalid, NotFound
from referral.web import login
from referral.web.forms import FormState, Unprinted, load_form, state_of_form
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
    password = Unprinted(required=True, validate=validate.Length(max=4 * LONGEST))


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
    if is_signed_in():
        return _accepted_by(current_actor(), invitation_id)
    made = _set_up(invitation_id)
    session.clear()
    response = redirect(address_of("desk.case", number=made.number), 303)
    login.give_token(response, made.token)
    return response


def _accepted_by(actor: Actor, invitation_id: UUID) -> ResponseReturnValue:
    load_form(AnswerForm(), request.form)
    wired, now = wiring(), wiring().now()
    today = day_at(now, wired.settings.zone)

    def act() -> str:
        number = answer_invitation(
            writing, actor, invitation_id, accepts=True, today=today, now=now
        )
        return address_of("desk.case", number=number)

    with wired.database.transaction() as writing:
        answer = do_once(writing, actor.person_id, now, act)
    flash("You are on the case.")
    return answer


def _set_up(invitation_id: UUID) -> SetUpResult:
    """Make the account and accept; sent again, the same form only signs in.

    Raises
    ------
    NotFound
        If the invitation is open no more, and was not accepted by what is sent.
    """
    given = load_form(SetUpForm(), request.form)
    device = request.user_agent.string or "unknown browser"
    command = SetUp(given["name"], given["password"], request.remote_addr or "", device)
    wired, now = wiring(), wiring().now()
    by, today = (wired.database, wired.passwords, invitation_id), day_at(now, wired.settings.zone)
    try:
        return set_up_owner(*by, command, today, now)
    except NotFound:
        before = set_up_before(*by, command, now)
        if before is None:
            raise
        return before


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
        key=new_key(),
        way=letter.way.value,
        house=wired.settings.instance_name,
        needs_form=letter.way is Way.SET_UP,
    )
    return make_response(html, status)
