"""The diary and the week's sheet."""

from datetime import date

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from referral.clock import day_at
from referral.desk.diary import diary_page, week_page
from referral.errors import NotFound
from referral.web.forms import parse_date
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("diary", __name__)

LAST_YEAR = 2098


@blueprint.get("/diary")
@sign_in_required
def diary() -> ResponseReturnValue:
    """Show what is due and overdue, whose it is, and what is booked."""
    wired = wiring()
    with wired.database.reading() as session:
        page = diary_page(session, current_actor(), wired.now())
    return render_template("desk/diary.html", page=page)


@blueprint.get("/diary/week")
@sign_in_required
def week() -> ResponseReturnValue:
    """Show a week's visits on a sheet to be printed."""
    wired = wiring()
    now = wired.now()
    with wired.database.reading() as session:
        page = week_page(session, current_actor(), _asked(day_at(now, wired.settings.zone)), now)
    return render_template("desk/week.html", page=page)


def _asked(today: date) -> date:
    said = request.args.get("from", "")
    if not said:
        return today
    try:
        day = parse_date(said)
    except ValueError as error:
        raise NotFound(str(error)) from error
    if not today.year - 20 <= day.year <= LAST_YEAR:
        raise NotFound("There is no sheet for that week.")
    return day
