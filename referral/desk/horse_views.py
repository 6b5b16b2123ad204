"""A horse's own page, and asking a vet to examine it."""

from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.accounts.idempotency import do_once
from referral.cases.asking import AskExamination, ask_examination, vet_chosen
from referral.cases.choices import JURISDICTIONS, LIMBS, SUBJECTS, URGENCIES, codes
from referral.cases.joining import Choice, card_says, check_choice, known_people, organisation_for
from referral.cases.schemas import words
from referral.cases.service import Member, OpenCase
from referral.cases.visit import new_key
from referral.clock import day_at
from referral.core.workflow import Role
from referral.desk.horse import asks_as, horse_and_cases, horse_seen, horses_seen
from referral.errors import Invalid, NotFound, OutOfDate
from referral.web.forms import FormState, faults_at, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("horse", __name__)

UNUSABLE = 422
MOVED_ON = 409
NOT_YOURS = "You can ask for an examination of your own horses, and as a farrier of those you see."
SAID = "Your request is sent. A photo helps the vet: add one now if you can."


class AskForm(Schema):
    """A request for an examination: which horse, which vet, which limb, what was seen."""

    horse_id = fields.UUID(required=True)
    vet_id = fields.UUID(load_default=None)
    vet_email = fields.Email(load_default=None, validate=validate.Length(max=254))
    limb = fields.String(required=True, validate=validate.OneOf(codes(LIMBS)))
    about = fields.String(required=True, validate=validate.OneOf(codes(SUBJECTS)))
    words = words(required=True)
    urgency = fields.String(required=True, validate=validate.OneOf(codes(URGENCIES)))
    jurisdiction = fields.String(required=True, validate=validate.OneOf(codes(JURISDICTIONS)))


@blueprint.get("/horses/<uuid:horse_id>")
@sign_in_required
def show(horse_id: UUID) -> ResponseReturnValue:
    """Show one horse and those of its cases that one is on."""
    with wiring().database.reading() as session:
        page = horse_and_cases(session, current_actor(), horse_id, wiring().now())
    return render_template("desk/horse.html", page=page)


@blueprint.get("/examinations/new")
@sign_in_required
def new_request() -> ResponseReturnValue:
    """Show the form that asks a vet for an examination."""
    return _form(FormState())


@blueprint.post("/examinations")
@sign_in_required
def ask() -> ResponseReturnValue:
    """Ask a vet for an examination."""
    wired = wiring()
    try:
        with wired.database.transaction() as session:
            answer = do_once(
                session, current_actor().person_id, wired.now(), lambda: _asked(session)
            )
    except Invalid as error:
        return _form(state_of_form(request.form, error), UNUSABLE)
    except OutOfDate as error:
        return _form(state_of_form(request.form, Invalid(error.message)), MOVED_ON)
    flash(SAID)
    return answer


def _asked(session: Any) -> str:  # noqa: ANN401 - the session is a type of another layer
    given = load_form(AskForm(), request.form)
    vet = Choice(given.pop("vet_id"), given.pop("vet_email"))
    check_choice(vet, "vet_id", "vet_email")
    case = _case(session, vet, given.pop("horse_id"), given.pop("jurisdiction"))
    with faults_at(email="vet_email"):
        access = ask_examination(session, AskExamination(case, vet, **given), wiring().now())
    return url_for("desk.case", number=access.number)


def _case(session: Any, vet: Choice, horse_id: UUID, jurisdiction: str) -> OpenCase:  # noqa: ANN401 - the session is a type of another layer
    actor, settings = current_actor(), wiring().settings
    try:
        horse = horse_seen(session, actor.person_id, horse_id)
    except NotFound as error:
        raise Invalid("Choose a horse.", {"horse_id": [error.message]}) from error
    role = asks_as(actor, horse)
    if role is None:
        raise Invalid("Choose a horse.", {"horse_id": [NOT_YOURS]})
    try:
        others = vet_chosen(session, actor.person_id, vet)
    except NotFound as error:
        raise Invalid("Say which vet.", {"vet_id": [error.message]}) from error
    if role is not Role.OWNER and horse.owner_id is not None:
        others = (*others, Member(horse.owner_id, Role.OWNER, None))
    return OpenCase(
        horse_id=horse.id,
        jurisdiction=jurisdiction,
        zone=settings.zone,
        opener=Member(actor.person_id, role, organisation_for(actor, role)),
        others=others,
        happened_on=day_at(wiring().now(), settings.zone),
    )


def _form(state: FormState, status: int = 200) -> ResponseReturnValue:
    actor = current_actor()
    with wiring().database.reading() as session:
        horses = [
            (str(each.id), each.name)
            for each in horses_seen(session, actor.person_id)
            if asks_as(actor, each) is not None
        ]
        vets = [
            (str(each.person_id), card_says(each))
            for each in known_people(session, actor.person_id, Role.VET)
        ]
    html = render_template(
        "desk/ask.html",
        form=state,
        key=new_key(),
        horses=horses,
        vets=vets,
        limbs=LIMBS,
        subjects=SUBJECTS,
        urgencies=URGENCIES,
        jurisdictions=JURISDICTIONS,
        chosen=request.args.get("horse", ""),
        may_record="farrier" in actor.roles,
    )
    return make_response(html, status)
