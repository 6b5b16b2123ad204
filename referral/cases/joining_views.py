"""The pages on which somebody is asked onto a case, answers, or is no longer asked."""

from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.accounts import idempotency
from referral.cases.joining import (
    JOINING,
    AskOnto,
    Choice,
    answer_invitation,
    ask_again,
    ask_onto,
    card_says,
    check_choice,
    known_people,
    roles_to_ask,
    take_back,
)
from referral.cases.visit import Visit, changing_case, do_once, keep_or_show, new_key, reading_case
from referral.clock import day_at
from referral.core.workflow import Move, Role
from referral.errors import Invalid, NotFound
from referral.web.forms import FormState, load_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("joining", __name__)

ROLES = tuple(role.value for role in (*JOINING, Role.OWNER))
SAID = "They are on the case, or are asked: whoever has that address finds it on their desk."


class AskForm(Schema):
    """Who is to come onto the case, as what: somebody known, or an address typed in full."""

    role = fields.String(required=True, validate=validate.OneOf(ROLES))
    person_id = fields.UUID(load_default=None)
    email = fields.Email(load_default=None, validate=validate.Length(max=254))


@blueprint.get("/cases/<int:number>/members/new")
@sign_in_required
def new(number: int) -> ResponseReturnValue:
    """Show the form that asks somebody onto the case."""
    return _form(number, FormState())


@blueprint.post("/cases/<int:number>/members")
@sign_in_required
def ask(number: int) -> ResponseReturnValue:
    """Ask somebody onto the case."""
    return keep_or_show(number, _asked, SAID, lambda state, status: _form(number, state, status))


def _asked(visit: Visit) -> str:
    visit.access.check_role(Move.INVITE)
    given = load_form(AskForm(), request.form)
    role = Role(given["role"])
    if role not in roles_to_ask(visit.session, visit.access):
        raise Invalid("Say as what.", {"role": ["The owner is on the case already."]})
    choice = Choice(given["person_id"], given["email"])
    check_choice(choice, "person_id", "email")
    command = AskOnto(role, choice, visit.today)
    try:
        ask_onto(visit.session, visit.access, command, visit.now)
    except NotFound as error:
        raise Invalid("Say who it is.", {"person_id": [error.message]}) from error
    return url_for("desk.case", number=visit.number, _anchor="case")


def _form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.INVITE)
        html = render_template(
            "cases/member.html",
            page={
                "number": number,
                "revision": visit.access.revision,
                "why_not": visit.access.why_not(Move.INVITE),
            },
            form=state,
            key=new_key(),
            roles=[
                (role.value, role.value.capitalize())
                for role in roles_to_ask(visit.session, visit.access)
            ],
            people=_offered(visit),
        )
    return make_response(html, status)


def _offered(visit: Visit) -> list[tuple[str, str]]:
    found: dict[str, str] = {}
    for role in JOINING:
        for each in known_people(visit.session, visit.access.actor_id, role):
            found.setdefault(str(each.person_id), f"{card_says(each)} ({role.value})")
    found.pop(str(visit.access.actor_id), None)
    return sorted(found.items(), key=lambda each: each[1])


@blueprint.post("/cases/<int:number>/invitations/<uuid:invitation_id>/withdrawals")
@sign_in_required
def withdraw(number: int, invitation_id: UUID) -> ResponseReturnValue:
    """Take back what somebody was asked; a button, so there is nothing typed to keep."""

    def act(visit: Visit) -> str:
        take_back(visit.session, visit.access, invitation_id, visit.today, visit.now)
        return url_for("desk.case", number=number, _anchor="case")

    with changing_case(number) as visit:
        answer = do_once(visit, lambda: act(visit))
    flash("They are no longer asked.")
    return answer


@blueprint.post("/cases/<int:number>/invitations/<uuid:invitation_id>/repeats")
@sign_in_required
def again(number: int, invitation_id: UUID) -> ResponseReturnValue:
    """Ask an address once more; a button, so there is nothing typed to keep."""

    def act(visit: Visit) -> str:
        ask_again(visit.session, visit.access, invitation_id, visit.today, visit.now)
        return url_for("desk.case", number=number, _anchor="case")

    with changing_case(number) as visit:
        answer = do_once(visit, lambda: act(visit))
    flash("They are asked again, for seven days.")
    return answer


@blueprint.app_template_global()
def how_asked() -> str:
    """Return how an address is asked on this instance, as the rest of a sentence."""
    letter = "by mail, unless they want no letters, and on their desk"
    by = letter if wiring().settings.mail_host else "on their desk"
    return f"is asked {by}, for seven days,"


@blueprint.post("/invitations/<uuid:invitation_id>/answers")
@sign_in_required
def reply(invitation_id: UUID) -> ResponseReturnValue:
    """Accept or decline what one is asked; two buttons on the desk."""
    wired, actor = wiring(), current_actor()
    now = wired.now()

    def act(session: Any) -> str:  # noqa: ANN401 - the session is a type of another layer
        accepts = request.form.get("answer") == "accept"
        number = answer_invitation(
            session,
            actor,
            invitation_id,
            accepts=accepts,
            today=day_at(now, wired.settings.zone),
            now=now,
        )
        return url_for("desk.case", number=number) if number else url_for("desk.desk")

    with wired.database.transaction() as session:
        if request.form.get("answer") not in ("accept", "decline"):
            raise NotFound("Accept or decline it with the buttons on your desk.")
        answer = idempotency.do_once(session, actor.person_id, now, lambda: act(session))
    flash("Your answer is kept.")
    return answer
