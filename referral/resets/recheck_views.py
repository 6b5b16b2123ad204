"""The page on which the recheck is set: whose it is, and when."""

from uuid import UUID

from flask import Blueprint, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.cases.queries import people_on
from referral.cases.schemas import words
from referral.cases.visit import Visit, keep_or_show, new_key, reading_case
from referral.core.workflow import Move
from referral.resets.rechecks import SetRecheck, set_recheck
from referral.web.forms import DateField, FormState, load_form
from referral.web.login import sign_in_required

blueprint = Blueprint("rechecks", __name__)

SAID = "The recheck is set, and its owner is told."


class RecheckForm(Schema):
    """The next look: whose, when, which films."""

    owner = fields.String(
        required=True, validate=validate.Regexp(r"^(vet|farrier)\.[0-9a-f-]{36}\Z")
    )
    due_on = DateField(required=True)
    films_wanted = words()
    words = words()


@blueprint.get("/cases/<int:number>/rechecks/new")
@sign_in_required
def new(number: int) -> ResponseReturnValue:
    """Show the form that sets the recheck."""
    return _form(number, FormState())


@blueprint.post("/cases/<int:number>/rechecks")
@sign_in_required
def keep(number: int) -> ResponseReturnValue:
    """Set the recheck."""
    return keep_or_show(number, _kept, SAID, lambda state, status: _form(number, state, status))


def _kept(visit: Visit) -> str:
    visit.access.check_role(Move.SET_RECHECK)
    given = load_form(RecheckForm(), request.form)
    role, _, person = given.pop("owner").partition(".")
    command = SetRecheck(owner_role=role, owner_id=UUID(person), happened_on=visit.today, **given)
    set_recheck(visit.session, visit.access, command, visit.now)
    return url_for("desk.case", number=visit.number)


def _form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.SET_RECHECK)
        html = render_template(
            "resets/recheck.html",
            page={
                "number": number,
                "revision": visit.access.revision,
                "why_not": visit.access.why_not(Move.SET_RECHECK),
            },
            form=state,
            key=new_key(),
            today=visit.today,
            owners=_owners(visit),
        )
    return make_response(html, status)


def _owners(visit: Visit) -> list[tuple[str, str]]:
    return [
        (f"{member.role}.{person.id}", f"{person.name}, {member.role}")
        for member, person, _organisation in people_on(visit.session, visit.access.case_id)
        if member.role in ("vet", "farrier")
    ]
