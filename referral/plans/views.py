"""Plans: write one with a live preview, look at it, review it, consent to it."""

from typing import Any

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.cases.service import Words
from referral.cases.visit import Visit, based_on, changing_case, do_once, new_key, reading_case
from referral.core.workflow import LAWS, Move
from referral.errors import Invalid, NotFound
from referral.plans.consents import RecordConsent, record_consent
from referral.plans.pages import (
    PlanFormPage,
    PlanPage,
    plan_form_page,
    plan_page,
    preview_limbs,
)
from referral.plans.queries import planned_limbs
from referral.plans.schemas import (
    ATTACHMENTS,
    BETWEEN,
    CATEGORIES,
    FROG_PLATES,
    MATERIALS,
    SURFACES,
    ConsentForm,
    LimbForm,
    PlanForm,
    ReviewForm,
    load_limbs,
)
from referral.plans.service import (
    SubmitPlan,
    accept_amendment,
    amend_plan,
    judge_again,
    judge_command,
    send_back,
    submit_plan,
)
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import sign_in_required

blueprint = Blueprint("plans", __name__)

UNUSABLE = 422
OPTIONS = {
    "categories": CATEGORIES,
    "materials": MATERIALS,
    "attachments": ATTACHMENTS,
    "surfaces": SURFACES,
    "frog_plates": FROG_PLATES,
    "between": BETWEEN,
}


def _limb_fields(limbs: tuple[str, ...]) -> list[str]:
    return [f"{limb}{BETWEEN}{name}" for limb in limbs for name in LimbForm().fields]


def _entitled(visit: Visit, move: Move) -> None:
    if not any(role in LAWS[move].roles for role in visit.access.roles):
        raise NotFound("There is no such page for you on this case.")


def _command(visit: Visit) -> SubmitPlan:
    limbs = planned_limbs(visit.session, visit.access.case_id)
    given = load_form(PlanForm(), request.form, also=_limb_fields(limbs))
    return SubmitPlan(
        limbs=load_limbs(request.form, limbs, given["fit_on"]),
        words=given["words"],
        recheck_owner=given["recheck_owner"],
        recheck_on=given["recheck_on"],
        happened_on=visit.today,
        based_on=based_on(),
    )


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
        if n != visit.access.state.plan_n:
            raise NotFound("Only the latest plan can be changed.")
    return _form(number, FormState(), amends=True)


def _form(number: int, state: FormState, status: int = 200, *, amends: bool) -> ResponseReturnValue:
    with reading_case(number) as visit:
        _entitled(visit, Move.AMEND_PLAN if amends else Move.SUBMIT_PLAN)
        page: PlanFormPage = plan_form_page(visit.session, visit.access, visit.today, amends=amends)
    html = render_template("plans/new.html", page=page, form=state, key=new_key(), **OPTIONS)
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/plans")
@sign_in_required
def submit(number: int) -> ResponseReturnValue:
    """Submit a plan; every finding is stored with it."""
    return _submit(number, amends=False)


@blueprint.post("/cases/<int:number>/plans/<int:n>/changes")
@sign_in_required
def change(number: int, n: int) -> ResponseReturnValue:
    """Submit the vet's changes as a new plan."""
    with reading_case(number) as visit:
        if n != visit.access.state.plan_n:
            raise NotFound("Only the latest plan can be changed.")
    return _submit(number, amends=True)


def _submit(number: int, *, amends: bool) -> ResponseReturnValue:
    store = amend_plan if amends else submit_plan

    def act(visit: Visit) -> str:
        rulebook = visit.wired.rulebook
        view = store(visit.session, visit.access, _command(visit), rulebook, visit.now)
        return url_for("plans.show", number=number, n=view.plan.n)

    try:
        with changing_case(number) as visit:
            answer = do_once(visit, lambda: act(visit))
    except Invalid as error:
        return _form(number, state_of_form(request.form, error), UNUSABLE, amends=amends)
    flash("The plan is stored with every finding; it is the other side’s turn.")
    return answer


@blueprint.post("/cases/<int:number>/plan-previews")
@sign_in_required
def preview(number: int) -> ResponseReturnValue:
    """Show what a plan on screen would do, with nothing stored."""
    with reading_case(number) as visit:
        try:
            command = _command(visit)
            judged = judge_command(
                visit.session, visit.access, command, visit.wired.rulebook, visit.now.date()
            )
            limbs = preview_limbs(visit.session, visit.access, judged, command.limbs)
        except Invalid as error:
            html = render_template("plans/_preview_fault.html", error=error)
            return make_response(html, UNUSABLE)
    return render_template("plans/_preview.html", limbs=limbs, summary=judged.summary)


@blueprint.get("/cases/<int:number>/plans/<int:n>")
@sign_in_required
def show(number: int, n: int) -> ResponseReturnValue:
    """Show a plan with its predictions, findings and answers."""
    return _show(number, n, FormState())


def _show(number: int, n: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        digest = visit.wired.rulebook.content_hash
        page: PlanPage = plan_page(visit.session, visit.access, n, digest, visit.today)
    html = render_template("plans/show.html", page=page, form=state, key=new_key())
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/plans/<int:n>/judgements")
@sign_in_required
def again(number: int, n: int) -> ResponseReturnValue:
    """Judge a plan again on limits, readings and rules as they are now."""
    with changing_case(number) as visit:
        session, access = visit.session, visit.access
        judge_again(session, access, n, visit.wired.rulebook, visit.today, visit.now)
    flash("The plan is judged on limits, readings and rules as they are now.")
    return _to_plan(number, n)


def _to_plan(number: int, n: int) -> ResponseReturnValue:
    response = make_response("", 303)
    response.headers["Location"] = url_for("plans.show", number=number, n=n)
    return response


@blueprint.post("/cases/<int:number>/plans/<int:n>/returns")
@sign_in_required
def send_it_back(number: int, n: int) -> ResponseReturnValue:
    """Send a plan back with what should change."""

    def act(visit: Visit) -> str:
        given = load_form(ReviewForm(), request.form, also=_answers())
        command = Words(given["words"], visit.today, based_on())
        send_back(visit.session, visit.access, n, command, visit.now)
        return url_for("desk.case", number=number)

    return _on_plan(number, n, act, "The plan is back with the farrier.")


def _answers() -> list[str]:
    return [name for name in request.form if name.startswith(("waiver_", "seen_"))]


def _on_plan(number: int, n: int, act: Any, said: str) -> ResponseReturnValue:  # noqa: ANN401 - a function of a visit
    try:
        with changing_case(number) as visit:
            answer = do_once(visit, lambda: act(visit))
    except Invalid as error:
        return _show(number, n, state_of_form(request.form, error), UNUSABLE)
    flash(said)
    return answer


@blueprint.post("/cases/<int:number>/plans/<int:n>/acceptances")
@sign_in_required
def accept(number: int, n: int) -> ResponseReturnValue:
    """Accept the vet's changes; the vet agrees and signs next."""

    def act(visit: Visit) -> str:
        command = Words(None, visit.today, based_on())
        accept_amendment(visit.session, visit.access, n, command, visit.now)
        return url_for("plans.show", number=number, n=n)

    return _on_plan(number, n, act, "The changes are accepted; the vet signs next.")


@blueprint.get("/cases/<int:number>/plans/<int:n>/consents/new")
@sign_in_required
def new_consent(number: int, n: int) -> ResponseReturnValue:
    """Show the agreed plan in plain words and the form for the owner's answer."""
    return _consent_form(number, n, FormState())


def _consent_form(number: int, n: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        _entitled(visit, Move.GIVE_CONSENT)
        digest = visit.wired.rulebook.content_hash
        page = plan_page(visit.session, visit.access, n, digest, visit.today)
    html = render_template("plans/consent.html", page=page, form=state, key=new_key())
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/plans/<int:n>/consents")
@sign_in_required
def consent(number: int, n: int) -> ResponseReturnValue:
    """Record the owner's answer to the agreed plan."""

    def act(visit: Visit) -> str:
        given = load_form(ConsentForm(), request.form)
        command = RecordConsent(n, **given, based_on=based_on())
        record_consent(visit.session, visit.access, command, visit.wired.rulebook, visit.now)
        return url_for("desk.case", number=number)

    try:
        with changing_case(number) as visit:
            answer = do_once(visit, lambda: act(visit))
    except Invalid as error:
        return _consent_form(number, n, state_of_form(request.form, error), UNUSABLE)
    flash("The owner’s answer is recorded.")
    return answer
