"""The pages of notes: calls, medication, emergency work, checks after fitting, devices."""

from functools import partial
from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.cases.choices import codes
from referral.cases.note_kinds import NOTES, Asked, NoteKind
from referral.cases.notes import KeepNote, confirm_call, keep_note, notes_of
from referral.cases.schemas import words
from referral.cases.visit import (
    Visit,
    changing_case,
    do_once,
    happened_on,
    keep_or_show,
    new_key,
    not_to_come,
    reading_case,
)
from referral.errors import Invalid
from referral.web.forms import SUMMARY, DateField, DecimalField, FormState, load_form
from referral.web.login import sign_in_required

blueprint = Blueprint("notes", __name__)

KINDS = ", ".join(f"'{kind}'" for kind in NOTES)


def form_of(kind: NoteKind) -> Schema:
    """Return the form that asks what a note of this kind holds."""
    asked: dict[str, fields.Field[Any]] = {each.name: _field(each) for each in kind.asked}
    return Schema.from_dict({**asked, "happened_on": DateField(load_default=None)})()


def _field(asked: Asked) -> fields.Field[Any]:
    if asked.is_words:
        return words(required=asked.required)
    default: dict[str, Any] = {"required": True} if asked.required else {"load_default": None}
    if asked.is_day:
        return DateField(**default)
    if asked.at_most is not None:
        return DecimalField(minimum=0, maximum=asked.at_most, **default)
    return fields.String(validate=validate.OneOf(codes(asked.options)), **default)


@blueprint.get(f"/cases/<int:number>/notes/<any({KINDS}):kind>/new")
@sign_in_required
def new(number: int, kind: str) -> ResponseReturnValue:
    """Show the form of a note."""
    return _form(number, kind, FormState())


@blueprint.post(f"/cases/<int:number>/notes/<any({KINDS}):kind>")
@sign_in_required
def keep(number: int, kind: str) -> ResponseReturnValue:
    """Keep a note."""
    note = NOTES[kind]
    return keep_or_show(
        number, lambda visit: _kept(visit, note), note.said, partial(_form, number, kind)
    )


def _kept(visit: Visit, note: NoteKind) -> str:
    visit.access.check_role(note.move)
    given = load_form(form_of(note), request.form)
    given.pop("happened_on")
    for each in note.asked:
        if each.is_day and given[each.name] is not None and not each.may_come:
            not_to_come(given[each.name], visit.today, each.name)
    on = happened_on(visit.today)
    faults = note.faults({**given, "happened_on": on})
    if faults:
        raise Invalid(SUMMARY, faults)
    command = KeepNote(note, given, on)
    kept = notes_of(visit.session, visit.access.case_id, note.move)
    alarm = note.alarm(given, [each.facts for each in kept])
    keep_note(visit.session, visit.access, command, visit.now)
    if alarm:
        flash(alarm, "caution")
        return url_for("cases.new", number=visit.number, what="red-flags")
    return url_for("desk.case", number=visit.number, _anchor="timeline")


def _form(number: int, kind: str, state: FormState, status: int = 200) -> ResponseReturnValue:
    note = NOTES[kind]
    with reading_case(number) as visit:
        visit.access.check_role(note.move)
        html = render_template(
            "cases/note.html",
            form=state,
            number=number,
            kind=kind,
            note=note,
            revision=visit.access.revision,
            key=new_key(),
            why_not=visit.access.why_not(note.move),
            today=visit.today,
        )
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/calls/<uuid:call_id>/confirmations")
@sign_in_required
def confirm(number: int, call_id: UUID) -> ResponseReturnValue:
    """Confirm a call note of the other side's."""

    def act(visit: Visit) -> str:
        confirm_call(visit.session, visit.access, call_id, visit.today, visit.now)
        return url_for("desk.case", number=number, _anchor="calls")

    with changing_case(number) as visit:
        answer = do_once(visit, lambda: act(visit))
    flash("The call note is confirmed.")
    return answer
