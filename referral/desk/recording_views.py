"""The pages on which horses are listed, one is recorded, and its owner's address is mended."""

from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once, new_key
from referral.cases.joining import known_owner
from referral.cases.mending import mend_owner_of
from referral.desk.horse import may_record
from referral.errors import Invalid, NotAllowed, OutOfDate, WrongState
from referral.horses.choices import ANIMALS, SEXES
from referral.horses.pages import horse_line
from referral.horses.queries import horse_for, horses_of, typed_owner
from referral.horses.schemas import HorseForm, OwnerForm
from referral.horses.service import ACCEPTED, MendOwner, RecordHorse, record_horse
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("horses", __name__)

UNUSABLE = 422
MOVED_ON = 409
MENDED = "Mended. Whoever was asked by the address of before is asked no more."


@blueprint.get("/horses")
@sign_in_required
def horses() -> ResponseReturnValue:
    """Show the horses on which this person may open a case."""
    actor = current_actor()
    with wiring().database.reading() as session:
        rows = [horse_line(horse) for horse in horses_of(session, actor.person_id)]
    return render_template("horses/list.html", horses=rows, may_record=may_record(actor))


@blueprint.get("/horses/new")
@sign_in_required
def new_horse() -> ResponseReturnValue:
    """Show the form that records a horse."""
    _check_role()
    return _form(FormState())


@blueprint.post("/horses")
@sign_in_required
def record() -> ResponseReturnValue:
    """Record a horse and its owner."""
    _check_role()
    wired = wiring()
    person_id = current_actor().person_id
    try:
        with wired.database.transaction() as session:
            answer = do_once(session, person_id, wired.now(), lambda: _recorded(session, person_id))
    except Invalid as error:
        return _form(state_of_form(request.form, error), UNUSABLE)
    except OutOfDate as error:
        return _form(state_of_form(request.form, Invalid(error.message)), MOVED_ON)
    flash("The horse is recorded.")
    return answer


def _recorded(session: Any, recorder_id: UUID) -> str:  # noqa: ANN401 - the session is a type of another layer
    wired = wiring()
    given = load_form(HorseForm(), request.form)
    owner = known_owner(session, recorder_id, given["owner_email"])
    command = RecordHorse(**given, owner_id=owner)
    horse = record_horse(session, recorder_id, command, wired.now(), demo=wired.settings.demo)
    return url_for("horse.show", horse_id=horse.id)


@blueprint.get("/horses/<uuid:horse_id>/owner")
@sign_in_required
def new_owner(horse_id: UUID) -> ResponseReturnValue:
    """Show the form that mends the owner's name and address."""
    _check_role()
    return _owner_form(horse_id, FormState())


@blueprint.post("/horses/<uuid:horse_id>/owner")
@sign_in_required
def mend_owner(horse_id: UUID) -> ResponseReturnValue:
    """Mend the owner's name and address; who is asked by it changes too."""
    _check_role()
    wired, person_id = wiring(), current_actor().person_id

    def act(session: Any) -> str:  # noqa: ANN401 - the session is a type of another layer
        horse_for(session, person_id, horse_id)
        given = load_form(OwnerForm(), request.form)
        command = MendOwner(given["owner_name"], given["owner_email"])
        mend_owner_of(session, person_id, horse_id, command, wired.now())
        return url_for("horse.show", horse_id=horse_id)

    try:
        with wired.database.transaction() as session:
            answer = do_once(session, person_id, wired.now(), lambda: act(session))
    except Invalid as error:
        return _owner_form(horse_id, state_of_form(request.form, error), UNUSABLE)
    except OutOfDate as error:
        state = state_of_form(request.form, Invalid(error.message))
        return _owner_form(horse_id, state, MOVED_ON)
    flash(MENDED)
    return answer


def _owner_form(horse_id: UUID, state: FormState, status: int = 200) -> ResponseReturnValue:
    with wiring().database.reading() as session:
        horse = horse_for(session, current_actor().person_id, horse_id)
        if horse.owner_id is not None:
            raise WrongState(ACCEPTED)
        typed = typed_owner(session, horse)
    html = render_template(
        "horses/owner.html", form=state, key=new_key(), horse=horse_line(horse), typed=typed
    )
    return make_response(html, status)


def _check_role() -> None:
    if not may_record(current_actor()):
        raise NotAllowed("Vets and farriers record horses.")


def _form(state: FormState, status: int = 200) -> ResponseReturnValue:
    html = render_template(
        "horses/new.html", form=state, key=new_key(), animals=ANIMALS, sexes=SEXES
    )
    return make_response(html, status)
