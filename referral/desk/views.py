"""The desk, the case page, opening a case, notices read."""

from datetime import date
from typing import Any

from flask import Blueprint, flash, make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.queries import people_with_role
from referral.cases.schemas import JURISDICTIONS, OpenCaseForm
from referral.cases.service import Member, OpenCase, open_case
from referral.cases.visit import new_key, reading_case
from referral.clock import today_in
from referral.core.workflow import Role
from referral.desk.actions import actions_for
from referral.desk.queries import case_page, desk_page, mark_read
from referral.errors import Invalid, NotAllowed
from referral.horses.queries import horse_for, horses_of
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("desk", __name__)

UNUSABLE = 422


@blueprint.get("/")
@sign_in_required
def desk() -> ResponseReturnValue:
    """Show what waits on whom."""
    actor = current_actor()
    with wiring().database.reading() as session:
        page = desk_page(session, actor.person_id, actor.roles, _today)
    return render_template("desk/desk.html", page=page)


def _today(zone: str) -> date:
    return today_in(zone)


@blueprint.get("/cases/<int:number>")
@sign_in_required
def case(number: int) -> ResponseReturnValue:
    """Show one case: whose turn it is, what stands, and everything that happened."""
    with reading_case(number) as visit:
        page = case_page(visit.session, visit.access, visit.today)
    wired = wiring()
    with wired.database.transaction() as session:
        mark_read(session, page.access, wired.now())
    return render_template(
        "desk/case.html",
        page=page,
        actions=actions_for(page),
        key=new_key(),
        form=FormState(),
    )


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
    actor = current_actor()
    try:
        given = load_form(OpenCaseForm(), request.form)
        with wired.database.transaction() as session:
            command = _command(session, actor, given)
            access = open_case(session, command, wired.now())
    except Invalid as error:
        return _form(state_of_form(request.form, error), UNUSABLE)
    flash("The case is open. Record the problem, add a film, set limits, then send the referral.")
    return redirect(url_for("desk.case", number=access.number), 303)


def _command(session: Any, actor: Any, given: dict[str, Any]) -> OpenCase:  # noqa: ANN401 - session and actor are types of other layers
    horse = horse_for(session, actor.person_id, given["horse_id"])
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
        happened_on=today_in(settings.zone),
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
        horses=horses,
        farriers=farriers,
        jurisdictions=JURISDICTIONS,
        chosen=request.args.get("horse", ""),
    )
    return make_response(html, status)


def _card(person: Any) -> str:  # noqa: ANN401 - a person's card
    names = [each.organisation_name for each in person.memberships if each.organisation_name]
    return f"{person.name}, {names[0]}" if names else str(person.name)
