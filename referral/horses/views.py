"""Horses: list them, record one."""

from uuid import UUID

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.queries import find_person_by_email
from referral.accounts.service import AddPerson, add_person
from referral.errors import Invalid, NotAllowed
from referral.horses.identity import shown_chip
from referral.horses.queries import horse_for, horses_of, owner_of
from referral.horses.schemas import ANIMALS, SEXES, HorseForm
from referral.horses.service import RecordHorse, record_horse
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("horses", __name__)

UNUSABLE = 422


@blueprint.get("/horses")
@sign_in_required
def horses() -> ResponseReturnValue:
    """Show the horses on which this person may open a case."""
    with wiring().database.reading() as session:
        rows = [
            (horse.id, horse.name, horse.animal, shown_chip(horse.chip) if horse.chip else None)
            for horse in horses_of(session, current_actor().person_id)
        ]
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
    try:
        given = load_form(HorseForm(), request.form)
        with wired.database.transaction() as session:
            name, email = given.pop("owner_name"), given.pop("owner_email")
            owner = find_person_by_email(session, email)
            if owner is None:
                command = AddPerson(name, email, "owner")
                owner = add_person(session, wired.passwords, command, wired.now())
            horse = record_horse(
                session,
                current_actor().person_id,
                RecordHorse(**given, owner_id=owner.id),
                wired.now(),
                demo=wired.settings.demo,
            )
    except Invalid as error:
        return _form(state_of_form(request.form, error)), UNUSABLE
    flash(f"{horse.name} is recorded.")
    return redirect(url_for("horses.show", horse_id=horse.id), 303)


@blueprint.get("/horses/<uuid:horse_id>")
@sign_in_required
def show(horse_id: UUID) -> ResponseReturnValue:
    """Show one horse."""
    with wiring().database.reading() as session:
        horse = horse_for(session, current_actor().person_id, horse_id)
        owner = owner_of(session, horse)
    return render_template(
        "horses/show.html",
        horse=horse,
        chip=shown_chip(horse.chip) if horse.chip else None,
        owner=owner.name if owner is not None else None,
        may_open="vet" in current_actor().roles,
    )


def _may_record() -> bool:
    return bool({"vet", "farrier"} & set(current_actor().roles))


def _check_role() -> None:
    if not _may_record():
        raise NotAllowed("Vets and farriers record horses.")


def _form(state: FormState) -> str:
    return render_template("horses/new.html", form=state, animals=ANIMALS, sexes=SEXES)
