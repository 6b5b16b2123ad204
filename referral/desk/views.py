"""The desk, the case page, opening a case, notices read."""

from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once
from referral.cases.choices import JURISDICTIONS
from referral.cases.joining import (
    AskOnto,
    Choice,
    ask_onto,
    card_says,
    check_choice,
    known_people,
    known_person,
    organisation_for,
)
from referral.cases.schemas import OpenCaseForm
from referral.cases.service import Member, OpenCase, open_case
from referral.cases.visit import new_key, reading_case
from referral.clock import day_at
from referral.core.workflow import Role
from referral.desk.actions import actions_for
from referral.desk.past import past_page
from referral.desk.queries import case_page, history_page, mark_read
from referral.desk.rows import desk_page
from referral.desk.summary import summary_page
from referral.desk.trends import trends_page
from referral.errors import Invalid, NotAllowed, NotFound, OutOfDate
from referral.horses.queries import horse_for, horses_of
from referral.plans.queries import rules_have_moved
from referral.web.forms import FormState, faults_at, load_form, state_of_form
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
        page = desk_page(session, actor, wiring().now())
    return render_template("desk/desk.html", page=page, key=new_key())


@blueprint.get("/cases/<int:number>")
@sign_in_required
def case(number: int) -> ResponseReturnValue:
    """Show one case: whose turn it is, what stands, and everything that happened."""
    with reading_case(number) as visit:
        page = case_page(visit.session, visit.access, visit.now)
        book, today = visit.wired.rulebook, visit.now.date()
        rules_moved = rules_have_moved(visit.session, visit.access, page.judged_by, book, today)
    if page.unread:
        with wiring().database.transaction() as session:
            mark_read(session, page.access, visit.now)
    return render_template(
        "desk/case.html",
        page=page,
        actions=actions_for(page),
        rules_moved=rules_moved,
        unread=page.unread_elsewhere,
        key=new_key(),
    )


@blueprint.get("/cases/<int:number>/history")
@sign_in_required
def history(number: int) -> ResponseReturnValue:
    """Show every plan, reset, sheet and entry of a case."""
    with reading_case(number) as visit:
        page = history_page(visit.session, visit.access)
    return render_template("desk/history.html", page=page)


@blueprint.get("/cases/<int:number>/handed-over")
@sign_in_required
def past(number: int) -> ResponseReturnValue:
    """Show a case that one has handed over, as it was then."""
    with wiring().database.reading() as session:
        page = past_page(session, current_actor().person_id, number)
    return render_template("desk/past.html", page=page)


@blueprint.get("/cases/<int:number>/summary")
@sign_in_required
def summary(number: int) -> ResponseReturnValue:
    """Show the case in plain words, as the owner reads it."""
    with reading_case(number) as visit:
        page = summary_page(visit.session, visit.access, visit.today)
    return render_template("desk/summary.html", page=page)


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
    given = load_form(OpenCaseForm(), request.form)
    choice = Choice(given["farrier_id"], given["farrier_email"])
    check_choice(choice, "farrier_id", "farrier_email")
    command = _command(session, current_actor(), given)
    access = open_case(session, command, wiring().now())
    if choice.person_id is None:
        asked = AskOnto(Role.FARRIER, choice, command.happened_on)
        with faults_at(email="farrier_email"):
            ask_onto(session, access, asked, wiring().now())
    return url_for("desk.case", number=access.number)


def _command(session: Any, actor: Any, given: dict[str, Any]) -> OpenCase:  # noqa: ANN401 - session and actor are types of other layers
    try:
        horse = horse_for(session, actor.person_id, given["horse_id"])
    except NotFound as error:
        raise Invalid("Choose a horse.", {"horse_id": [error.message]}) from error
    settings = wiring().settings
    members = _farrier(session, actor.person_id, given["farrier_id"])
    if horse.owner_id is not None:
        members.append(Member(horse.owner_id, Role.OWNER, None))
    return OpenCase(
        horse_id=horse.id,
        jurisdiction=given["jurisdiction"],
        zone=settings.zone,
        opener=Member(actor.person_id, Role.VET, organisation_for(actor, Role.VET)),
        others=tuple(members),
        happened_on=day_at(wiring().now(), settings.zone),
    )


def _farrier(session: Any, knower_id: UUID, person_id: UUID | None) -> list[Member]:  # noqa: ANN401 - the session is a type of another layer
    """Return the farrier who is chosen, or nobody yet where an address is asked."""
    if person_id is None:
        return []
    try:
        farrier = known_person(session, knower_id, Role.FARRIER, person_id)
    except NotFound as error:
        raise Invalid("Choose a farrier.", {"farrier_id": [error.message]}) from error
    return [Member(person_id, Role.FARRIER, organisation_for(farrier, Role.FARRIER))]


def _check_role() -> None:
    if "vet" not in current_actor().roles:
        raise NotAllowed("A vet opens a case; a farrier or an owner asks a vet to.")


def _form(state: FormState, status: int = 200) -> ResponseReturnValue:
    with wiring().database.reading() as session:
        horses = [
            (str(horse.id), horse.name) for horse in horses_of(session, current_actor().person_id)
        ]
        known = known_people(session, current_actor().person_id, Role.FARRIER)
        farriers = [(str(each.person_id), card_says(each)) for each in known]
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
