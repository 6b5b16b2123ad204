"""The desk, the case page, opening a case, notices read."""

from typing import Any

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once
from referral.accounts.queries import people_with_role
from referral.cases.choices import JURISDICTIONS
from referral.cases.schemas import OpenCaseForm
from referral.cases.service import Member, OpenCase, open_case
from referral.cases.visit import new_key, reading_case
from referral.clock import day_at
from referral.core.workflow import Role
from referral.desk.actions import actions_for
from referral.desk.queries import case_page, desk_page, mark_read
from referral.desk.trends import trends_page
from referral.errors import Invalid, NotAllowed, NotFound, OutOfDate
from referral.horses.queries import horse_for, horses_of
from referral.plans.queries import rules_have_moved
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("desk", __name__)

UNUSABLE = 422
MOVED_ON = 409


@blueprint.get("/")
@sign_in_required
def desk() -> ResponseReturnValue:
    """Show what waits on whom."""
    actor = current_actor()
    with wiring().database.reading() as session:
        page = desk_page(session, actor.person_id, actor.roles, wiring().now())
    return render_template("desk/desk.html", page=page)


@blueprint.get("/cases/<int:number>")
@sign_in_required
def case(number: int) -> ResponseReturnValue:
    """Show one case: whose turn it is, what stands, and everything that happened."""
    with reading_case(number) as visit:
        page = case_page(visit.session, visit.access, visit.today)
        book, today = visit.wired.rulebook, visit.now.date()
        rules_moved = rules_have_moved(visit.session, visit.access, book, today)
    if page.unread:
        with wiring().database.transaction() as session:
            mark_read(session, page.access, visit.now)
    return render_template(
        "desk/case.html",
        page=page,
        actions=actions_for(page),
        rules_moved=rules_moved,
        key=new_key(),
    )


@blueprint.get("/cases/<int:number>/trends")
@sign_in_required
def trends(number: int) -> ResponseReturnValue:
    """Show the case's readings over its visits."""
    with reading_case(number) as visit:
        page = trends_page(visit.session, visit.access)
    return render_template("desk/trends.html", page=page)


@blueprint.get("/cases/new")
@sign_in_required
def new_case() -> ResponseReturnValue:
    """Show the form that opens a case."""
    _check_role()
    return _form(FormState())


@blueprint.post("/cases")
@sign_in_required
def open_one() -> ResponseReturnValue:
    """Open a case on a horse, with the farrier it is shared with."""
    _check_role()
    wired = wiring()
    person_id = current_actor().person_id
    try:
        with wired.database.transaction() as session:
            answer = do_once(session, person_id, wired.now(), lambda: _opened(session))
    except Invalid as error:
        return _form(state_of_form(request.form, error), UNUSABLE)
    except OutOfDate as error:
        return _form(state_of_form(request.form, Invalid(error.message)), MOVED_ON)
    flash("The case is open. Record the problem, add a film, set limits, then send the referral.")
    return answer


def _opened(session: Any) -> str:  # noqa: ANN401 - the session is a type of another layer
    command = _command(session, current_actor(), load_form(OpenCaseForm(), request.form))
    access = open_case(session, command, wiring().now())
    return url_for("desk.case", number=access.number)


def _command(session: Any, actor: Any, given: dict[str, Any]) -> OpenCase:  # noqa: ANN401 - session and actor are types of other layers
    try:
        horse = horse_for(session, actor.person_id, given["horse_id"])
    except NotFound as error:
        raise Invalid("Choose a horse.", {"horse_id": [error.message]}) from error
    farriers = {each.person_id: each for each in people_with_role(session, "farrier")}
    farrier = farriers.get(given["farrier_id"])
    if farrier is None:
        raise Invalid("Choose a farrier.", {"farrier_id": ["There is no such farrier here."]})
    settings = wiring().settings
    members = [Member(farrier.person_id, Role.FARRIER, _organisation(farrier, "farrier"))]
    if horse.owner_id is not None:
        members.append(Member(horse.owner_id, Role.OWNER, None))
    return OpenCase(
        horse_id=horse.id,
        jurisdiction=given["jurisdiction"],
        zone=settings.zone,
        opener=Member(actor.person_id, Role.VET, _organisation(actor, "vet")),
        others=tuple(members),
        happened_on=day_at(wiring().now(), settings.zone),
    )


def _organisation(person: Any, role: str) -> Any:  # noqa: ANN401 - an actor or a person's card
    return next((each.organisation_id for each in person.memberships if each.role == role), None)


def _check_role() -> None:
    if "vet" not in current_actor().roles:
        raise NotAllowed("A vet opens a case; a farrier or an owner asks a vet to.")


def _form(state: FormState, status: int = 200) -> ResponseReturnValue:
    with wiring().database.reading() as session:
        horses = [
            (str(horse.id), horse.name) for horse in horses_of(session, current_actor().person_id)
        ]
        farriers = [
            (str(each.person_id), _card(each)) for each in people_with_role(session, "farrier")
        ]
    html = render_template(
        "desk/new_case.html",
        form=state,
        key=new_key(),
        horses=horses,
        farriers=farriers,
        jurisdictions=JURISDICTIONS,
        chosen=request.args.get("horse", ""),
    )
    return make_response(html, status)


def _card(person: Any) -> str:  # noqa: ANN401 - a person's card
    names = [each.organisation_name for each in person.memberships if each.organisation_name]
    return f"{person.name}, {names[0]}" if names else str(person.name)
