"""The page on which a visit is booked."""

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema, fields, validate

from referral.cases.booking import BookVisit, book_visit
from referral.cases.schemas import words
from referral.cases.visit import Visit, changing_case, do_once, late_form, new_key, reading_case
from referral.core.workflow import Move
from referral.errors import Invalid, OutOfDate, WrongState
from referral.web.forms import DateField, FormState, load_form, state_of_form
from referral.web.login import sign_in_required

blueprint = Blueprint("bookings", __name__)

UNUSABLE = 422
MOVED_ON = 409


class BookingForm(Schema):
    """A visit: who comes, the day and the time on the yard's clock; no day calls it off."""

    comes = fields.String(required=True, validate=validate.OneOf(["vet", "farrier"]))
    visit_on = DateField(load_default=None)
    visit_at = fields.Time(format="%H:%M", load_default=None)
    hour = fields.String(load_default=None, validate=validate.OneOf(["first", "second"]))
    words = words()


@blueprint.get("/cases/<int:number>/visits/new")
@sign_in_required
def new_visit(number: int) -> ResponseReturnValue:
    """Show the form that books a visit."""
    return _form(number, FormState())


@blueprint.post("/cases/<int:number>/visits")
@sign_in_required
def book(number: int) -> ResponseReturnValue:
    """Book a visit, or call it off."""
    try:
        with changing_case(number) as visit:
            visit.access.check_role(Move.BOOK_VISIT)
            answer = do_once(visit, lambda: _booked(visit))
    except Invalid as error:
        return _form(number, state_of_form(request.form, error), UNUSABLE)
    except (OutOfDate, WrongState) as error:
        with reading_case(number) as visit:
            state = late_form(visit, error)
        return _form(number, state, MOVED_ON)
    flash("The visit is in the diary.")
    return answer


def _booked(visit: Visit) -> str:
    command = BookVisit(**load_form(BookingForm(), request.form), happened_on=visit.today)
    book_visit(visit.session, visit.access, command, visit.now)
    return url_for("desk.case", number=visit.number, _anchor="timeline")


def _form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.BOOK_VISIT)
        html = render_template(
            "cases/booking.html",
            form=state,
            number=number,
            zone=visit.access.zone,
            revision=visit.access.revision,
            key=new_key(),
            why_not=visit.access.why_not(Move.BOOK_VISIT),
            today=visit.today,
        )
    return make_response(html, status)
