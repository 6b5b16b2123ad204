"""Sheets: look at one, sign it first or second, fetch it."""

from collections.abc import Callable
from io import BytesIO
from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, send_file, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import done_before
from referral.accounts.second_factor import Given, authorise
from referral.cases.erasures import refuse_erased
from referral.cases.visit import (
    Visit,
    based_on,
    changing_case,
    do_once,
    late_form,
    new_key,
    reading_case,
)
from referral.core.workflow import Move
from referral.errors import Invalid, NotFound, OutOfDate, WrongState
from referral.plans.pages import plan_page
from referral.plans.queries import plan_of
from referral.plans.schemas import ReviewForm
from referral.plans.service import AgreePlan, check_agreement
from referral.resets.pages import reset_form_page
from referral.resets.schemas import at_form_fields, load_reset
from referral.resets.service import CountersignReset, RecordReset, check_reset
from referral.sheets.asking import ask
from referral.sheets.decisions import agree_to_json, record_to_json
from referral.sheets.fetching import FETCHED, note_after
from referral.sheets.office import office_of
from referral.sheets.orders import Order
from referral.sheets.pages import (
    bytes_of,
    countersign_page,
    owners_of,
    plan_signature_page,
    proposal_page,
)
from referral.sheets.pictures import page_picture
from referral.sheets.queries import proposal_of, sheets_signed_by
from referral.sheets.schemas import (
    CountersignForm,
    SecondForm,
    SignForm,
    answer_fields,
    seen_in,
    waivers_in,
)
from referral.sheets.sealing import Sealed, ToSeal, first_to_seal, seal, second_to_seal
from referral.sheets.service import (
    SecondSignature,
    sign_agreed_plan,
    sign_countersign,
    sign_first,
)
from referral.sheets.snapshot import TITLES, SheetKind
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("sheets", __name__)

UNUSABLE = 422
MOVED_ON = 409
SECRET = ("password", "code")


@blueprint.post("/cases/<int:number>/plans/<int:n>/agreements")
@sign_in_required
def propose_agreement(number: int, n: int) -> ResponseReturnValue:
    """Render the agreed-plan sheet that the vet then looks at and signs."""
    try:
        with reading_case(number) as visit:
            visit.access.check_role(Move.AGREE_PLAN)
        return ask(number, lambda visit: _agreed(visit, n))
    except Invalid as error:
        state, status = state_of_form(request.form, error), UNUSABLE
    except (OutOfDate, WrongState) as error:
        with reading_case(number) as visit:
            state, status = late_form(visit, error), MOVED_ON
    with reading_case(number) as visit:
        book = visit.wired.rulebook
        page = plan_page(visit.session, visit.access, n, book, visit.now)
    html = render_template("plans/show.html", page=page, form=state, key=new_key())
    return make_response(html, status)


def _agreed(visit: Visit, n: int) -> Order:
    command, access = _agreement(visit, n), visit.access
    access.role_for(Move.AGREE_PLAN)
    check_agreement(visit.session, access, command, visit.wired.rulebook, visit.now.date())
    return Order(SheetKind.AGREED_PLAN, command.seen_sha256, agree_to_json(command))


def _agreement(visit: Visit, n: int) -> AgreePlan:
    given = load_form(ReviewForm(), request.form, also=answer_fields(request.form))
    return AgreePlan(
        n=n,
        seen_sha256=given["seen_sha256"],
        waivers=waivers_in(request.form),
        seen=seen_in(request.form),
        words=given["words"],
        happened_on=visit.today,
        based_on=based_on() or visit.access.revision,
    )


@blueprint.post("/cases/<int:number>/resets")
@sign_in_required
def propose_reset(number: int) -> ResponseReturnValue:
    """Render the as-fitted sheet that the farrier then looks at and signs."""
    try:
        return ask(number, _fitted)
    except Invalid as error:
        state, status = state_of_form(request.form, at_form_fields(error)), UNUSABLE
    except (OutOfDate, WrongState) as error:
        with reading_case(number) as visit:
            state, status = late_form(visit, error), MOVED_ON
    with reading_case(number) as visit:
        page = reset_form_page(visit.session, visit.access, visit.today)
    return make_response(
        render_template("resets/new.html", page=page, form=state, key=new_key()), status
    )


def _fitted(visit: Visit) -> Order:
    command, access = _record(visit), visit.access
    access.role_for(Move.RECORD_RESET)
    checked = check_reset(visit.session, access, command, visit.wired.rulebook, visit.now)
    return Order(SheetKind.AS_FITTED, checked.judged.basis_sha256, record_to_json(command))


def _record(visit: Visit) -> RecordReset:
    plan = plan_of(visit.session, visit.access.case_id, visit.access.state.plan_n)
    given = load_reset(request.form, tuple(plan.limbs))
    return RecordReset(**given, based_on=based_on() or visit.access.revision)


@blueprint.get("/cases/<int:number>/sheets/proposals/<uuid:sheet_id>")
@sign_in_required
def proposal(number: int, sheet_id: UUID) -> ResponseReturnValue:
    """Show a rendered sheet to the person who is to sign it first."""
    return _proposal(number, sheet_id, FormState())


def _proposal(
    number: int, sheet_id: UUID, state: FormState, status: int = 200
) -> ResponseReturnValue:
    with reading_case(number) as visit:
        order = proposal_of(visit.session, visit.access.case_id, visit.access.actor_id, sheet_id)
        if order.pdf_sha256 is None:
            title = TITLES[SheetKind(order.kind)]
            return render_template("sheets/waiting.html", number=number, order=order, title=title)
        page = proposal_page(visit.session, visit.access, visit.wired.blobs, sheet_id)
    to = url_for("sheets.sign", number=number, sheet_id=sheet_id)
    html = render_template("sheets/sign.html", page=page, form=state, key=new_key(), action=to)
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/sheets/proposals/<uuid:sheet_id>")
@sign_in_required
def sign(number: int, sheet_id: UUID) -> ResponseReturnValue:
    """Make the move and put the first signature on exactly the PDF that was shown."""

    def look(visit: Visit, given: dict[str, Any]) -> ToSeal:
        session, access, office = visit.session, visit.access, office_of(visit.wired)
        return first_to_seal(session, access, office, sheet_id, given["pdf_sha256"], visit.now)

    def act(visit: Visit, _given: dict[str, Any], made: Sealed) -> str:
        office = office_of(visit.wired)
        sign_first(visit.session, visit.access, office, sheet_id, made, visit.now)
        return url_for("desk.case", number=number, _anchor="sheets")

    try:
        return _sign(number, SignForm(), look, act, "The sheet is signed.")
    except Invalid as error:
        state = state_of_form(request.form, error, secret=SECRET)
        return _proposal(number, sheet_id, state, UNUSABLE)


Look = Callable[[Visit, dict[str, Any]], ToSeal]
"""Finds what a form is to sign."""

Act = Callable[[Visit, dict[str, Any], Sealed], str]
"""Makes the move with the signature that was made for it; returns where it leads."""


def _sign(number: int, schema: SignForm, look: Look, act: Act, done: str) -> ResponseReturnValue:
    """Take password and code as authority, make the signature, then keep it and its move as one.

    ``done`` is what the page then says, with how long the signature can be checked.

    The signature is made between two transactions: a time authority may be asked, and nobody
    else's writing waits for that.
    """
    wired = wiring()
    given = load_form(schema, request.form)
    with reading_case(number) as visit:
        before = done_before(visit.session, visit.access.actor_id)
    if before is not None:
        flash(done)
        return before
    said = Given(given.pop("password"), given.pop("code"), request.remote_addr or "")
    key = wired.settings.instance_key
    authorise(wired.database, wired.passwords, current_actor(), said, key, wired.now())
    with changing_case(number) as visit:
        what = look(visit, given)
    made = seal(office_of(wired), what)
    with changing_case(number) as visit:
        answer = do_once(visit, lambda: act(visit, given, made))
    flash(" ".join((done, *made.says)))
    return answer


@blueprint.get("/cases/<int:number>/plans/<int:n>/signature")
@sign_in_required
def plan_signature_form(number: int, n: int) -> ResponseReturnValue:
    """Show the agreed plan that the vet signed to the farrier who signs next."""
    return _plan_signature(number, n, FormState())


def _plan_signature(
    number: int, n: int, state: FormState, status: int = 200
) -> ResponseReturnValue:
    with reading_case(number) as visit:
        page = plan_signature_page(visit.session, visit.access, visit.wired.blobs, n)
    to = url_for("sheets.plan_signature", number=number, n=n)
    html = render_template("sheets/sign.html", page=page, form=state, key=new_key(), action=to)
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/plans/<int:n>/signature")
@sign_in_required
def plan_signature(number: int, n: int) -> ResponseReturnValue:
    """Put the farrier's signature on the agreed plan; consent is next."""

    def look(visit: Visit, given: dict[str, Any]) -> ToSeal:
        if n != visit.access.state.plan_n:
            raise NotFound("Only the latest plan is signed.")
        return _second_to_seal(visit, given)

    def act(visit: Visit, given: dict[str, Any], made: Sealed) -> str:
        office, command = office_of(visit.wired), _second(visit, given)
        sign_agreed_plan(visit.session, visit.access, office, command, made, visit.now)
        return url_for("desk.case", number=number, _anchor="sheets")

    try:
        said = "The plan is signed by both; the owner’s consent is next."
        return _sign(number, SecondForm(), look, act, said)
    except Invalid as error:
        state = state_of_form(request.form, error, secret=SECRET)
        return _plan_signature(number, n, state, UNUSABLE)


def _second_to_seal(visit: Visit, given: dict[str, Any]) -> ToSeal:
    session, access, office = visit.session, visit.access, office_of(visit.wired)
    shown = given["sheet_id"], given["pdf_sha256"]
    return second_to_seal(session, access, office, *shown, visit.now)


def _second(visit: Visit, given: dict[str, Any]) -> SecondSignature:
    return SecondSignature(given["sheet_id"], given["pdf_sha256"], visit.today, based_on())


@blueprint.get("/cases/<int:number>/resets/<int:n>/signature")
@sign_in_required
def countersign_form(number: int, n: int) -> ResponseReturnValue:
    """Show the as-fitted sheet to the vet who countersigns."""
    return _countersign(number, n, FormState())


def _countersign(number: int, n: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        session, access, blobs = visit.session, visit.access, visit.wired.blobs
        page = countersign_page(session, access, blobs, n, visit.today)
    html = render_template("sheets/countersign.html", page=page, form=state, key=new_key())
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/resets/<int:n>/signature")
@sign_in_required
def countersign(number: int, n: int) -> ResponseReturnValue:
    """Countersign a reset, set the recheck, and put the vet's signature on the sheet."""

    def look(visit: Visit, given: dict[str, Any]) -> ToSeal:
        _answer(visit, n, given)
        return _second_to_seal(visit, given)

    def act(visit: Visit, given: dict[str, Any], made: Sealed) -> str:
        second, answer = _second(visit, given), _answer(visit, n, given)
        office = office_of(visit.wired)
        sign_countersign(visit.session, visit.access, office, second, made, answer, visit.now)
        return url_for("desk.case", number=number, _anchor="sheets")

    try:
        said = "The reset is countersigned, and the recheck is set."
        return _sign(number, CountersignForm(), look, act, said)
    except Invalid as error:
        state = state_of_form(request.form, error, secret=SECRET)
        return _countersign(number, n, state, UNUSABLE)
    except (OutOfDate, WrongState) as error:
        with reading_case(number) as visit:
            state = late_form(visit, error)
        return _countersign(number, n, state, MOVED_ON)


def _answer(visit: Visit, n: int, given: dict[str, Any]) -> CountersignReset:
    owner = dict(owners_of(visit.session, visit.access)).get(given["recheck_role"])
    if owner is None:
        raise Invalid("Nobody on this case is that.", {"recheck_role": ["Choose who is here."]})
    if given["recheck_on"] < visit.today:
        raise Invalid("The recheck is past.", {"recheck_on": ["Choose a day to come."]})
    return CountersignReset(
        n=n,
        words=given["words"],
        recheck_on=given["recheck_on"],
        recheck_role=given["recheck_role"],
        recheck_owner_id=owner[1],
        films_wanted=given["films_wanted"],
        happened_on=visit.today,
        based_on=based_on(),
    )


@blueprint.get("/cases/<int:number>/sheets/<uuid:sheet_id>.pdf")
@sign_in_required
def download(number: int, sheet_id: UUID) -> ResponseReturnValue:
    """Give a sheet's newest bytes."""
    pdf, kind = _bytes(number, sheet_id)
    name = f"case-{number}-{kind.replace('_', '-')}.pdf"
    answer = send_file(
        BytesIO(pdf), "application/pdf", download_name=name, etag=False, conditional=False
    )
    return note_after(answer, sheet_id, FETCHED) if request.method == "GET" else answer


@blueprint.get("/cases/<int:number>/sheets/<uuid:sheet_id>/pages/<int:page>.png")
@sign_in_required
def picture(number: int, sheet_id: UUID, page: int) -> ResponseReturnValue:
    """Give one page of a sheet as a picture."""
    pdf, _kind = _bytes(number, sheet_id)
    return send_file(BytesIO(page_picture(pdf, page)), "image/png", etag=False)


def _bytes(number: int, sheet_id: UUID) -> tuple[bytes, str]:
    """Return a sheet's newest bytes: to who is on the case, and to who signed it and has left."""
    wired = wiring()
    try:
        with reading_case(number) as visit:
            digest, kind = bytes_of(visit.session, visit.access, sheet_id)
    except NotFound:
        with wired.database.reading() as session:
            mine = sheets_signed_by(session, current_actor().person_id, number)
        found = [each for each in mine if each.sheet_id == sheet_id]
        if not found:
            raise
        refuse_erased(found[0].erased, "sheet")
        digest, kind = found[0].pdf_sha256, found[0].kind
    return wired.blobs.get(digest), kind
