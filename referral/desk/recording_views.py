"""The pages on which horses are listed and one is recorded."""

from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once, new_key
from referral.cases.joining import known_owner
from referral.errors import Invalid, NotAllowed, OutOfDate
from referral.horses.choices import ANIMALS, SEXES
from referral.horses.pages import horse_line
from referral.horses.queries import horses_of
from referral.horses.schemas import HorseForm
from referral.horses.service import RecordHorse, record_horse
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("horses", __name__)

UNUSABLE = 422
MOVED_ON = 409


@blueprint.get("/horses")
@sign_in_required
def horses() -> ResponseReturnValue:
    """Show the horses on which this person may open a case."""
    with wiring().database.reading() as session:
        rows = [horse_line(horse) for horse in horses_of(session, current_actor().person_id)]
    return render_template("horses/list.html", horses=rows, may_record=_may_record())


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


def _may_record() -> bool:
    return bool({"vet", "farrier"} & set(current_actor().roles))


def _check_role() -> None:
    if not _may_record():
        raise NotAllowed("Vets and farriers record horses.")


def _form(state: FormState, status: int = 200) -> ResponseReturnValue:
    html = render_template(
        "horses/new.html", form=state, key=new_key(), animals=ANIMALS, sexes=SEXES
    )
    return make_response(html, status)
