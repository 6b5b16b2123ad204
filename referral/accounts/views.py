"""Signing in and out, one's open sessions, one's password."""

from typing import Any
from uuid import UUID

from flask import (
    Blueprint,
    flash,
    make_response,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from flask.typing import ResponseReturnValue

from referral.accounts.actor import Actor
from referral.accounts.practices import practices_of
from referral.accounts.queries import open_sessions
from referral.accounts.schemas import PasswordForm, SignInForm
from referral.accounts.service import ChangePassword, change_password
from referral.accounts.sign_in import (
    SignInTry,
    end_all_sessions,
    end_session,
    end_token,
    sign_in,
)
from referral.errors import Invalid
from referral.web import login
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("accounts", __name__)

SECRET_FIELDS = ("password", "present")
UNUSABLE = 422
WAIT_SECONDS = 15 * 60


@blueprint.get("/sign-in", endpoint="sign_in")
def show_sign_in() -> ResponseReturnValue:
    """Show the door, or go on for somebody who is inside already."""
    following = login.safe_next(request.args.get("next"))
    if login.is_signed_in():
        return redirect(following, 303)
    return _door(FormState(), following)


@blueprint.post("/sign-in", endpoint="sign_in_now")
def sign_in_now() -> ResponseReturnValue:
    """Check the password; a new session and a new cookie each time."""
    following = login.safe_next(request.form.get("next"))
    try:
        given = load_form(SignInForm(), request.form)
    except Invalid as error:
        return _door(state_of_form(request.form, error, secret=SECRET_FIELDS), following, UNUSABLE)
    wired = wiring()
    result = sign_in(
        wired.database,
        wired.passwords,
        SignInTry(given["email"], given["password"], _address(), _device()),
        wired.now(),
    )
    if result.token is None:
        refusal = Invalid(result.refusal)
        state = state_of_form(request.form, refusal, secret=SECRET_FIELDS)
        return _door(state, following, 429 if result.must_wait else UNUSABLE)
    _forget_browser()
    response = redirect(following, 303)
    login.give_token(response, result.token)
    return response


@blueprint.post("/sign-out")
def sign_out() -> ResponseReturnValue:
    """End this session."""
    _forget_browser()
    response = redirect(url_for("accounts.sign_in"), 303)
    login.drop_token(response)
    return response


@blueprint.get("/account", endpoint="account")
@sign_in_required
def show_account() -> ResponseReturnValue:
    """Show one's roles, open sessions, and the form for a new password."""
    return _account(FormState())


@blueprint.post("/account/password")
@sign_in_required
def new_password() -> ResponseReturnValue:
    """Take a new password; every other session ends."""
    wired = wiring()
    try:
        given = load_form(PasswordForm(), request.form)
        command = ChangePassword(given["present"], given["password"], _address())
        change_password(wired.database, wired.passwords, current_actor(), command, wired.now())
    except Invalid as error:
        return _account(state_of_form(request.form, error, secret=SECRET_FIELDS), UNUSABLE)
    flash("Your password is changed, and your other sessions have ended.")
    return redirect(url_for("accounts.account"), 303)


@blueprint.post("/account/sessions/<uuid:session_id>/ending")
@sign_in_required
def end_one(session_id: UUID) -> ResponseReturnValue:
    """End one of one's own sessions."""
    wired = wiring()
    actor: Actor = current_actor()
    with wired.database.transaction() as transaction:
        end_session(transaction, actor, session_id, wired.now())
    return _after_ending(gone=session_id == actor.session_id)


@blueprint.post("/account/sessions/ending")
@sign_in_required
def end_all() -> ResponseReturnValue:
    """End all of one's sessions, this one too."""
    wired = wiring()
    actor: Actor = current_actor()
    with wired.database.transaction() as transaction:
        end_all_sessions(transaction, actor.person_id, wired.now())
    return _after_ending(gone=True)


def _after_ending(*, gone: bool) -> ResponseReturnValue:
    if not gone:
        return redirect(url_for("accounts.account"), 303)
    response = redirect(url_for("accounts.sign_in"), 303)
    login.drop_token(response)
    session.clear()
    return response


def _forget_browser() -> None:
    """End the session this browser came with, and what was bound to its visit."""
    token = login.session_token()
    session.clear()
    if token:
        wired = wiring()
        with wired.database.transaction() as transaction:
            end_token(transaction, token, wired.now())


def _door(state: FormState, following: str, status: int = 200) -> ResponseReturnValue:
    page = render_template("accounts/sign_in.html", form=state, following=following)
    response = make_response(page, status)
    if status == 429:  # noqa: PLR2004 - too many requests
        response.headers["Retry-After"] = str(WAIT_SECONDS)
    return response


def _account(state: FormState, status: int = 200) -> ResponseReturnValue:
    wired = wiring()
    actor: Any = current_actor()
    with wired.database.reading() as reading:
        page = render_template(
            "accounts/account.html",
            form=state,
            sessions=open_sessions(reading, actor, wired.now()),
            practices=practices_of(reading, actor),
            actor=actor,
        )
    return make_response(page, status)


def _address() -> str:
    return request.remote_addr or ""


def _device() -> str:
    return request.user_agent.string or "unknown browser"
