"""Pages on which landmarks are placed again, and what a person's own scatter is."""

from functools import partial
from uuid import UUID

from flask import Blueprint, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.cases.visit import Visit, keep_or_show, new_key, reading_case
from referral.core.measure.views import VIEWS
from referral.films.pages import DRAWINGS, landmark_slots
from referral.films.queries import film_to_see
from referral.films.repeats import (
    PlaceAgain,
    place_again,
    scatter_of,
    times_placed,
    views_placed,
    why_not_counted,
)
from referral.films.schemas import VIEWS as VIEW_NAMES
from referral.films.schemas import MeasureForm
from referral.films.service import measure_move_of
from referral.films.uploads import check_places, refuse_other_picture
from referral.web.forms import FormState, load_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("repeats", __name__)


@blueprint.get("/cases/<int:number>/films/<uuid:film_id>/repeats")
@sign_in_required
def new(number: int, film_id: UUID) -> ResponseReturnValue:
    """Show the picture without its landmarks, to be placed again."""
    return _form(number, film_id, FormState())


@blueprint.post("/cases/<int:number>/films/<uuid:film_id>/repeats")
@sign_in_required
def keep(number: int, film_id: UUID) -> ResponseReturnValue:
    """Keep one repeat."""

    def act(visit: Visit) -> str:
        film = film_to_see(visit.session, visit.access.case_id, film_id)
        visit.access.check_role(measure_move_of(film.film.view))
        given = load_form(MeasureForm(), request.form)
        refuse_other_picture(film, given)
        check_places(film.film, given["landmarks"])
        command = PlaceAgain(film_id, given["landmarks"])
        place_again(visit.session, visit.access, command, visit.now)
        return url_for("repeats.new", number=number, film_id=film_id)

    said = "Kept. Place them once more: three times on one picture are enough to begin with."
    return keep_or_show(number, act, said, partial(_form, number, film_id))


def _form(number: int, film_id: UUID, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        film = film_to_see(visit.session, visit.access.case_id, film_id)
        visit.access.check_role(measure_move_of(film.film.view))
        html = render_template(
            "films/repeat.html",
            form=state,
            number=number,
            film=film.film,
            stretch=film.stretch,
            title=dict(VIEW_NAMES)[film.film.view],
            landmarks=landmark_slots(film.film.view, {}),
            lines=VIEWS[film.film.view].lines,
            drawing=DRAWINGS[film.film.view],
            times=times_placed(visit.session, visit.access.actor_id, film_id),
            why_not=why_not_counted(film),
            revision=visit.access.revision,
            key=new_key(),
        )
    return make_response(html, status)


@blueprint.get("/scatter")
@sign_in_required
def scatter() -> ResponseReturnValue:
    """Show one's own scatter, landmark by landmark."""
    person_id = current_actor().person_id
    with wiring().database.reading() as session:
        tables = [
            (dict(VIEW_NAMES)[view], sorted(scatter_of(session, person_id, view).items()))
            for view in views_placed(session, person_id)
        ]
    return render_template("films/scatter.html", tables=tables)
