"""The page on which a vet's or a farrier's part in a case is handed over."""

from uuid import UUID

from flask import Blueprint, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.cases.handing import HANDED, HandOver, hand_over, parts_to_hand
from referral.cases.joining import card_says, known_people
from referral.cases.schemas import words
from referral.cases.visit import Visit, keep_or_show, new_key, not_to_come, reading_case
from referral.core.workflow import Move, Role
from referral.web.forms import DateField, FormState, load_form
from referral.web.login import sign_in_required

blueprint = Blueprint("handing", __name__)

SAID = "The part is handed over. Whoever has it now is told, and sees the whole case."
PART = r"(vet|farrier)\.[0-9a-f-]{36}"


class HandOverForm(Schema):
    """Whose part, who takes it over, from when, and why."""

    part = fields.String(required=True, validate=validate.Regexp(f"^{PART}$"))
    to_id = fields.UUID(required=True)
    from_on = DateField(required=True)
    reason = words(required=True)


@blueprint.get("/cases/<int:number>/hand-overs/new")
@sign_in_required
def new(number: int) -> ResponseReturnValue:
    """Show the form that hands a part over."""
    return _form(number, FormState())


@blueprint.post("/cases/<int:number>/hand-overs")
@sign_in_required
def keep(number: int) -> ResponseReturnValue:
    """Hand a part over."""
    return keep_or_show(number, _handed, SAID, lambda state, status: _form(number, state, status))


def _handed(visit: Visit) -> str:
    visit.access.check_role(Move.HAND_OVER)
    given = load_form(HandOverForm(), request.form)
    role, _, person = given["part"].partition(".")
    command = HandOver(
        Role(role),
        UUID(person),
        given["to_id"],
        not_to_come(given["from_on"], visit.today, "from_on"),
        given["reason"],
    )
    hand_over(visit.session, visit.access, command, visit.now)
    if command.from_id == visit.access.actor_id and visit.access.roles == (command.role,):
        return url_for("desk.past", number=visit.number)
    return url_for("desk.case", number=visit.number)


def _form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.HAND_OVER)
        parts = parts_to_hand(visit.session, visit.access)
        html = render_template(
            "cases/hand_over.html",
            page={
                "number": number,
                "revision": visit.access.revision,
                "why_not": visit.access.why_not(Move.HAND_OVER),
            },
            form=state,
            key=new_key(),
            today=visit.today,
            parts=[(f"{each.role.value}.{each.person_id}", each) for each in parts],
            people=_offered(visit),
        )
    return make_response(html, status)


def _offered(visit: Visit) -> list[tuple[str, str]]:
    return [
        (str(each.person_id), f"{card_says(each)} ({role.value})")
        for role in HANDED
        for each in known_people(visit.session, visit.access.actor_id, role)
    ]
