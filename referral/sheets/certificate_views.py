"""The page on which a vet or a farrier brings, sees and removes a certificate of their own."""

from collections.abc import Callable

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.idempotency import do_once, new_key
from referral.accounts.schemas import PasswordAlone
from referral.accounts.second_factor import SIGNING_ROLES
from referral.accounts.service import ConfirmPassword, confirm_password
from referral.errors import Invalid, NotAllowed
from referral.sheets.own_certificates import (
    keep_certificate,
    own_certificate,
    remove_certificate,
)
from referral.sheets.pkcs12 import LARGEST_FILE, read_pkcs12
from referral.sheets.schemas import CertificateForm
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("certificates", __name__)

UNUSABLE = 422
SECRET = ("password", "passphrase")
NO_FILE = "Choose the .p12 file that holds your certificate and key."


@blueprint.get("/account/certificate")
@sign_in_required
def show() -> ResponseReturnValue:
    """Show which certificate one signs with, and the form that brings one."""
    return _page(FormState())


@blueprint.post("/account/certificate")
@sign_in_required
def bring() -> ResponseReturnValue:
    """Keep a certificate of one's own and its key, to sign with from now on."""
    actor, wired = _signer(), wiring()
    key = wired.settings.instance_key
    try:
        given = load_form(CertificateForm(), request.form)
        _confirm(given["password"])
        own = read_pkcs12(_upload(), given["passphrase"], wired.now())
        answer = _once(
            lambda session: keep_certificate(session, actor.person_id, own, key, wired.now())
        )
    except Invalid as error:
        return _page(state_of_form(request.form, error, secret=SECRET), UNUSABLE)
    flash(f"You sign with the certificate of {own.name} from now on.")
    return answer


@blueprint.post("/account/certificate/removal")
@sign_in_required
def remove() -> ResponseReturnValue:
    """Delete the key that one brought; what was signed with it stays signed."""
    actor, wired = _signer(), wiring()
    try:
        _confirm(load_form(PasswordAlone(), request.form)["password"])
        answer = _once(lambda session: remove_certificate(session, actor.person_id, wired.now()))
    except Invalid as error:
        state = state_of_form(request.form, error, secret=SECRET)
        return _page(FormState(), UNUSABLE, removal=state)
    flash("Your certificate’s key is deleted. You sign with one of this instance’s again.")
    return answer


def _once(change: Callable[[Session], None]) -> ResponseReturnValue:
    """Make a change to one's certificate, and show it; the same form again only shows it."""
    wired = wiring()

    def act() -> str:
        change(session)
        return url_for("certificates.show")

    with wired.database.transaction() as session:
        return do_once(session, current_actor().person_id, wired.now(), act)


def _signer() -> Actor:
    actor: Actor = current_actor()
    if not SIGNING_ROLES & set(actor.roles):
        raise NotAllowed("Only vets and farriers sign sheets.")
    return actor


def _confirm(password: str) -> None:
    wired = wiring()
    said = ConfirmPassword(password, request.remote_addr or "")
    confirm_password(wired.database, wired.passwords, current_actor(), said, wired.now())


def _upload() -> bytes:
    file = request.files.get("certificate")
    if file is None or not file.filename:
        raise Invalid(NO_FILE, {"certificate": [NO_FILE]})
    return file.stream.read(LARGEST_FILE + 1)


def _page(
    state: FormState, status: int = 200, removal: FormState | None = None
) -> ResponseReturnValue:
    actor, wired = _signer(), wiring()
    with wired.database.reading() as session:
        own = own_certificate(session, actor.person_id)
    html = render_template(
        "sheets/certificate.html",
        form=state,
        key=new_key(),
        removal=removal or FormState(),
        own=own,
        is_over=own is not None and wired.now() >= own.expires_at,
    )
    return make_response(html, status)
