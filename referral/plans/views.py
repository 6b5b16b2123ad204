"""Plans: write one with a live preview, look at it, review it, consent to it."""

from functools import partial

from flask import Blueprint, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.cases.service import Words
from referral.cases.visit import (
    Visit,
    based_on,
    keep_or_show,
    new_key,
    not_to_come,
    reading_case,
)
from referral.core.workflow import Move
from referral.errors import Invalid, NotAllowed, OutOfDate
from referral.plans.asking import apart_from_newest, command_of
from referral.plans.cautions import AcknowledgeCautions, acknowledge_cautions
from referral.plans.consents import RecordConsent, record_consent
from referral.plans.pages import (
    PlanFormPage,
    PlanPage,
    plan_form_page,
    plan_page,
    preview_of,
)
from referral.plans.queries import plan_of
from referral.plans.schemas import (
    ATTACHMENTS,
    BETWEEN,
    CATEGORIES,
    CLIP_LAYOUTS,
    FROG_PLATES,
    MATERIALS,
    SURFACES,
    TRIM_ALONG,
    CautionsForm,
    ConsentForm,
    ReviewForm,
)
from referral.plans.service import (
    accept_amendment,
    amend_plan,
    judge_again,
    judge_command,
    send_back,
    submit_plan,
)
from referral.web.forms import FormState, load_form
from referral.web.login import sign_in_required

blueprint = Blueprint("plans", __name__)

UNUSABLE = 422
MOVED_ON = 409

OPTIONS = {
    "categories": CATEGORIES,
    "materials": MATERIALS,
    "attachments": ATTACHMENTS,
    "surfaces": SURFACES,
    "frog_plates": FROG_PLATES,
    "clip_layouts": CLIP_LAYOUTS,
    "trim_along": TRIM_ALONG,
    "between": BETWEEN,
}


@blueprint.get("/cases/<int:number>/plans/new")
@sign_in_required
def new_plan(number: int) -> ResponseReturnValue:
    """Show the form of a plan."""
    return _form(number, FormState(), amends=False)


@blueprint.get("/cases/<int:number>/plans/<int:n>/changes/new")
@sign_in_required
def new_changes(number: int, n: int) -> ResponseReturnValue:
    """Show the form with which the vet changes a plan."""
    with reading_case(number) as visit:
        visit.access.check_role(Move.AMEND_PLAN)
        _check_latest(visit, n)
    return _form(number, FormState(), amends=True)


def _check_latest(visit: Visit, n: int) -> None:
    plan_of(visit.session, visit.access.case_id, n)
    if n != visit.access.state.plan_n:
        raise OutOfDate("A newer plan has taken this one’s place.")


def _form(number: int, state: FormState, status: int = 200, *, amends: bool) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.AMEND_PLAN if amends else Move.SUBMIT_PLAN)
        page: PlanFormPage = plan_form_page(visit.session, visit.access, visit.today, amends=amends)
        apart = apart_from_newest(visit) if status == MOVED_ON else None
    html = render_template(
        "plans/new.html", page=page, form=state, apart=apart, key=new_key(), **OPTIONS
    )
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/plans")
@sign_in_required
def submit(number: int) -> ResponseReturnValue:
    """Submit a plan; every finding is stored with it."""
    return _submit(number)


@blueprint.post("/cases/<int:number>/plans/<int:n>/changes")
@sign_in_required
def change(number: int, n: int) -> ResponseReturnValue:
    """Submit the vet's changes as a new plan."""
    return _submit(number, changes_n=n)


def _submit(number: int, changes_n: int | None = None) -> ResponseReturnValue:
    amends = changes_n is not None
    store = amend_plan if amends else submit_plan

    def act(visit: Visit) -> str:
        visit.access.check_role(Move.AMEND_PLAN if amends else Move.SUBMIT_PLAN)
        if changes_n is not None:
            _check_latest(visit, changes_n)
        rulebook = visit.wired.rulebook
        view = store(visit.session, visit.access, command_of(visit), rulebook, visit.now)
        return url_for("plans.show", number=number, n=view.plan.n)

    said = "The plan is stored with every finding; it is the other side’s turn."
    return keep_or_show(number, act, said, partial(_form, number, amends=amends))


@blueprint.post("/cases/<int:number>/plan-previews")
@sign_in_required
def preview(number: int) -> ResponseReturnValue:
    """Show what a plan on screen would do, with nothing stored."""
    with reading_case(number) as visit:
        if not visit.access.may_ever(Move.SUBMIT_PLAN, Move.AMEND_PLAN):
            raise NotAllowed("Plans are written by the farrier, and changed by the vet.")
        try:
            command = command_of(visit)
            judged = judge_command(
                visit.session, visit.access, command, visit.wired.rulebook, visit.now.date()
            )
            limbs, summary = preview_of(visit.session, visit.access, judged, command.limbs)
        except Invalid as error:
            html = render_template("plans/_preview_fault.html", error=error)
            return make_response(html, UNUSABLE)
    return render_template("plans/_preview.html", limbs=limbs, summary=summary)


@blueprint.get("/cases/<int:number>/plans/<int:n>")
@sign_in_required
def show(number: int, n: int) -> ResponseReturnValue:
    """Show a plan with its predictions, findings and answers."""
    return _show(number, n, FormState())


def _show(number: int, n: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        book = visit.wired.rulebook
        page: PlanPage = plan_page(visit.session, visit.access, n, book, visit.now)
    html = render_template("plans/show.html", page=page, form=state, key=new_key())
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/plans/<int:n>/judgements")
@sign_in_required
def again(number: int, n: int) -> ResponseReturnValue:
    """Judge a plan again on limits, readings and rules as they are now."""

    def act(visit: Visit) -> str:
        session, access = visit.session, visit.access
        judge_again(session, access, n, visit.wired.rulebook, visit.today, visit.now)
        return url_for("plans.show", number=number, n=n)

    said = "The plan is judged on limits, readings and rules as they are now."
    return keep_or_show(number, act, said, partial(_show, number, n))


@blueprint.post("/cases/<int:number>/plans/<int:n>/cautions")
@sign_in_required
def acknowledge(number: int, n: int) -> ResponseReturnValue:
    """Acknowledge cautions, so that they stay folded while nothing about them changes."""

    def act(visit: Visit) -> str:
        visit.access.check_role(Move.ACKNOWLEDGE_CAUTION)
        given = load_form(CautionsForm(), request.form)
        chosen = frozenset(given["findings"])
        command = AcknowledgeCautions(n, chosen, given["reason"], visit.today, based_on())
        acknowledge_cautions(visit.session, visit.access, command, visit.now)
        return url_for("plans.show", number=number, n=n)

    said = "It is kept. A caution stays folded once both sides have acknowledged it."
    return keep_or_show(number, act, said, partial(_show, number, n))


@blueprint.post("/cases/<int:number>/plans/<int:n>/returns")
@sign_in_required
def send_it_back(number: int, n: int) -> ResponseReturnValue:
    """Send a plan back with what should change."""

    def act(visit: Visit) -> str:
        visit.access.check_role(Move.SEND_BACK)
        given = load_form(ReviewForm(), request.form, also=_answers())
        command = Words(given["words"], visit.today, based_on())
        send_back(visit.session, visit.access, n, command, visit.now)
        return url_for("desk.case", number=number)

    said = "The plan is back with the farrier."
    return keep_or_show(number, act, said, partial(_show, number, n))


def _answers() -> list[str]:
    return [
        name
        for name in request.form
        if name.startswith(("waiver_", "seen_")) and name != "seen_sha256"
    ]


@blueprint.post("/cases/<int:number>/plans/<int:n>/acceptances")
@sign_in_required
def accept(number: int, n: int) -> ResponseReturnValue:
    """Accept the vet's changes; the vet agrees and signs next."""

    def act(visit: Visit) -> str:
        command = Words(None, visit.today, based_on())
        accept_amendment(visit.session, visit.access, n, command, visit.now)
        return url_for("plans.show", number=number, n=n)

    said = "The changes are accepted; the vet signs next."
    return keep_or_show(number, act, said, partial(_show, number, n))


@blueprint.get("/cases/<int:number>/plans/<int:n>/consents/new")
@sign_in_required
def new_consent(number: int, n: int) -> ResponseReturnValue:
    """Show the agreed plan in plain words and the form for the owner's answer."""
    return _consent_form(number, n, FormState())


def _consent_form(number: int, n: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.GIVE_CONSENT)
        book = visit.wired.rulebook
        page = plan_page(visit.session, visit.access, n, book, visit.now)
    html = render_template("plans/consent.html", page=page, form=state, key=new_key())
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/plans/<int:n>/consents")
@sign_in_required
def consent(number: int, n: int) -> ResponseReturnValue:
    """Record the owner's answer to the agreed plan."""

    def act(visit: Visit) -> str:
        visit.access.check_role(Move.GIVE_CONSENT)
        given = load_form(ConsentForm(), request.form)
        not_to_come(given["given_on"], visit.today, "given_on")
        command = RecordConsent(n, **given, based_on=based_on())
        record_consent(visit.session, visit.access, command, visit.wired.rulebook, visit.now)
        return url_for("desk.case", number=number)

    said = "The owner’s answer is recorded."
    return keep_or_show(number, act, said, partial(_consent_form, number, n))
