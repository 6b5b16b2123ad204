"""The page on which a vet or a farrier sets up codes for signing, or takes them off."""

from collections.abc import Callable

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from sqlalchemy.orm import Session

from referral.accounts import second_factor
from referral.accounts.actor import Actor
from referral.accounts.idempotency import do_once, new_key
from referral.accounts.schemas import CodeForm, PasswordAlone
from referral.accounts.second_factor import SIGNING_ROLES
from referral.accounts.service import ConfirmPassword, confirm_password
from referral.errors import Invalid, NotAllowed
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.qr import qr_picture
from referral.web.wiring import wiring

blueprint = Blueprint("codes", __name__)

UNUSABLE = 422
SECRET = ("password", "code")


@blueprint.get("/account/codes")
@sign_in_required
def show() -> ResponseReturnValue:
    """Show whether signing asks for a code, and how to set that up."""
    return _page(FormState())


@blueprint.post("/account/codes")
@sign_in_required
def begin() -> ResponseReturnValue:
    """Make a secret for one's telephone, of use when its first code is given."""
    actor, wired = _signer(), wiring()
    key = wired.settings.instance_key
    try:
        _confirm_password()
        return _once(
            lambda session: second_factor.begin(session, actor.person_id, key, wired.now())
        )
    except Invalid as error:
        return _page(state_of_form(request.form, error, secret=SECRET), UNUSABLE)


@blueprint.post("/account/codes/confirmation")
@sign_in_required
def confirm() -> ResponseReturnValue:
    """Put codes on, by the first one."""
    actor, wired = _signer(), wiring()
    key = wired.settings.instance_key
    try:
        code = load_form(CodeForm(), request.form)["code"]
        answer = _once(
            lambda session: second_factor.confirm(session, actor.person_id, code, key, wired.now())
        )
    except Invalid as error:
        return _page(state_of_form(request.form, error, secret=SECRET), UNUSABLE)
    flash("Signing asks for a code from now on.")
    return answer


@blueprint.post("/account/codes/removal")
@sign_in_required
def remove() -> ResponseReturnValue:
    """Take codes off again."""
    actor, wired = _signer(), wiring()
    try:
        _confirm_password()
        answer = _once(lambda session: second_factor.remove(session, actor.person_id, wired.now()))
    except Invalid as error:
        return _page(state_of_form(request.form, error, secret=SECRET), UNUSABLE)
    flash("Codes are off: signing asks for your password alone.")
    return answer


def _once(change: Callable[[Session], None]) -> ResponseReturnValue:
    """Make a change to one's codes, and show them; the same form again only shows them."""
    wired = wiring()

    def act() -> str:
        change(session)
        return url_for("codes.show")

    with wired.database.transaction() as session:
        return do_once(session, current_actor().person_id, wired.now(), act)


def _signer() -> Actor:
    actor: Actor = current_actor()
    if not SIGNING_ROLES & set(actor.roles):
        raise NotAllowed("Only vets and farriers sign sheets.")
    return actor


def _confirm_password() -> None:
    wired = wiring()
    password = load_form(PasswordAlone(), request.form)["password"]
    said = ConfirmPassword(password, request.remote_addr or "")
    confirm_password(wired.database, wired.passwords, current_actor(), said, wired.now())


def _page(state: FormState, status: int = 200) -> ResponseReturnValue:
    actor, wired = _signer(), wiring()
    settings = wired.settings
    with wired.database.reading() as session:
        on = second_factor.is_on(session, actor.person_id)
        secret = second_factor.secret_to_confirm(session, actor.person_id, settings.instance_key)
    words = picture = None
    if secret is not None:
        name = settings.instance_name
        words = second_factor.secret_in_words(secret)
        picture = qr_picture(second_factor.setting_up_address(secret, actor.email, name)).address
    html = render_template(
        "accounts/codes.html",
        form=state,
        key=new_key(),
        is_on=on,
        words=words,
        picture=picture,
    )
    return make_response(html, status)
