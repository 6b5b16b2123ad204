"""Films: add one, look at it, place landmarks and scale, type readings."""

from typing import Any
from uuid import UUID

from flask import Blueprint, Response, flash, jsonify, make_response, render_template, request
from flask import url_for as address
from flask.typing import ResponseReturnValue

from referral.cases.schemas import LIMBS
from referral.cases.visit import (
    Visit,
    changing_case,
    do_once,
    happened_on,
    new_key,
    reading_case,
)
from referral.core.measure.readings import Measured
from referral.core.measure.stated import StatedValue, stated_readings
from referral.core.workflow import LAWS, Move
from referral.errors import Invalid, NotFound
from referral.films.pages import FilmPage, film_page, live_readings, typed_codes
from referral.films.preview import preview
from referral.films.queries import film_of
from referral.films.schemas import (
    SCALE_STATES,
    SHOD,
    SUPERIMPOSED,
    TRIMS,
    VIEWS,
    FilmForm,
    MeasureForm,
    ReadingsForm,
)
from referral.films.service import (
    AddFilm,
    MeasureFilm,
    TypeReadings,
    add_film,
    measure_film,
    type_readings,
)
from referral.films.uploads import marker_given, read_upload, refuse_other_picture
from referral.web.forms import (
    FormState,
    load_form,
    load_json,
    parse_decimal,
    state_of_form,
)
from referral.web.login import sign_in_required

blueprint = Blueprint("films", __name__)

UNUSABLE = 422
PICTURE_POLICY = "default-src 'none'; sandbox"


def _home(visit: Visit, anchor: str) -> str:
    return address("desk.case", number=visit.number, _anchor=anchor)


def _must(visit: Visit, move: Move) -> None:
    if not any(role in LAWS[move].roles for role in visit.access.roles):
        raise NotFound("Films are added and measured by the vet.")


@blueprint.get("/cases/<int:number>/films/new")
@sign_in_required
def new_film(number: int) -> ResponseReturnValue:
    """Show the form that adds a film."""
    return _film_form(number, FormState())


@blueprint.post("/cases/<int:number>/films")
@sign_in_required
def add(number: int) -> ResponseReturnValue:
    """Keep a film as it was uploaded, and open its editor."""
    with reading_case(number) as visit:
        _must(visit, Move.ADD_FILM)
    try:
        given = load_form(FilmForm(), request.form)
        data, name, decoded = read_upload(request.files.get("film"))
        with changing_case(number) as visit:
            command = AddFilm(
                data=data,
                name=name,
                decoded=decoded,
                limb=given["limb"],
                view=given["view"],
                taken_on=given["taken_on"],
                trim=given["trim"],
                shod=given["shod"],
                condyles_superimposed={"yes": True, "no": False}.get(given["superimposed"]),
                happened_on=happened_on(visit.today),
            )
            answer = do_once(visit, lambda: _added(visit, command))
    except Invalid as error:
        return _film_form(number, state_of_form(request.form, error), UNUSABLE)
    flash("The film is kept. Set its scale, then place the landmarks.")
    return answer


def _added(visit: Visit, command: AddFilm) -> str:
    film_id = add_film(visit.session, visit.access, visit.wired.blobs, command, visit.now)
    return address("films.show", number=visit.number, film_id=film_id)


def _film_form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        _must(visit, Move.ADD_FILM)
        html = render_template(
            "films/new.html",
            form=state,
            number=number,
            revision=visit.access.revision,
            key=new_key(),
            today=visit.today,
            limbs=LIMBS,
            views=VIEWS,
            trims=TRIMS,
            shod=SHOD,
            superimposed=SUPERIMPOSED,
        )
    return make_response(html, status)


@blueprint.get("/cases/<int:number>/films/<uuid:film_id>")
@sign_in_required
def show(number: int, film_id: UUID) -> ResponseReturnValue:
    """Show a film with its landmarks, scale and readings."""
    return _editor(number, film_id, FormState())


def _editor(number: int, film_id: UUID, state: FormState, status: int = 200) -> ResponseReturnValue:
    page = _page(number, film_id)
    return make_response(
        render_template("films/show.html", page=page, form=state, key=new_key()), status
    )


def _page(number: int, film_id: UUID) -> FilmPage:
    with reading_case(number) as visit:
        film = film_of(visit.session, visit.access.case_id, film_id)
        may = visit.access.may(Move.MEASURE_FILM)
        return film_page(film, number, visit.access.revision, may_measure=may)


@blueprint.post("/cases/<int:number>/films/<uuid:film_id>/landmarks")
@sign_in_required
def measure(number: int, film_id: UUID) -> ResponseReturnValue:
    """Keep landmarks and scale, and the readings they give."""
    try:
        given = load_form(MeasureForm(), request.form)
        with changing_case(number) as visit:
            film = film_of(visit.session, visit.access.case_id, film_id)
            refuse_other_picture(film.film, given)
            command = MeasureFilm(
                film_id=film_id,
                points_px=given["landmarks"],
                scale_given=marker_given(film, given),
                happened_on=happened_on(visit.today),
            )
            answer = do_once(visit, lambda: _measured(visit, command))
    except Invalid as error:
        return _editor(number, film_id, state_of_form(request.form, error), UNUSABLE)
    flash("Landmarks, scale and readings are kept.")
    return answer


def _measured(visit: Visit, command: MeasureFilm) -> str:
    measure_film(visit.session, visit.access, command, visit.now)
    return address("films.show", number=visit.number, film_id=command.film_id)


@blueprint.post("/cases/<int:number>/films/<uuid:film_id>/reading-previews")
@sign_in_required
def reading_preview(number: int, film_id: UUID) -> ResponseReturnValue:
    """Compute the readings of landmarks on screen, with nothing kept."""
    given = load_json(MeasureForm(), request.get_json(silent=True) or {})
    with reading_case(number) as visit:
        film = film_of(visit.session, visit.access.case_id, film_id)
        measured, scale = preview(film, given["landmarks"], marker_given(film, given))
    return jsonify(live_readings(measured, scale))


@blueprint.get("/cases/<int:number>/films/<uuid:film_id>/picture.jpg")
@sign_in_required
def picture(number: int, film_id: UUID) -> ResponseReturnValue:
    """Serve the picture of a film."""
    with reading_case(number) as visit:
        film = film_of(visit.session, visit.access.case_id, film_id)
        data = visit.wired.blobs.get(film.film.picture_sha256)
    return _file(data, "image/jpeg")


@blueprint.get("/cases/<int:number>/films/<uuid:film_id>/original")
@sign_in_required
def original(number: int, film_id: UUID) -> ResponseReturnValue:
    """Serve a film's original DICOM file as a download, byte for byte."""
    with reading_case(number) as visit:
        film = film_of(visit.session, visit.access.case_id, film_id)
        if film.film.described.get("kind") != "dicom":
            raise NotFound("Only a film's DICOM file is handed out as it came.")
        data = visit.wired.blobs.get(film.film.original_sha256)
    response = _file(data, "application/dicom")
    response.headers["Content-Disposition"] = f'attachment; filename="{film_id}.dcm"'
    return response


def _file(data: bytes, kind: str) -> Response:
    response = Response(data, content_type=kind)
    response.headers["Content-Security-Policy"] = PICTURE_POLICY
    return response


@blueprint.get("/cases/<int:number>/readings/new")
@sign_in_required
def new_readings(number: int) -> ResponseReturnValue:
    """Show the form for readings typed by hand."""
    return _readings_form(number, FormState())


@blueprint.post("/cases/<int:number>/readings")
@sign_in_required
def readings(number: int) -> ResponseReturnValue:
    """Keep readings typed by hand."""
    codes = [code for code, _name, _unit in typed_codes()]
    try:
        given = load_form(ReadingsForm(), request.form, also=codes)
        measured = _typed(given, codes)
        with changing_case(number) as visit:
            command = TypeReadings(
                given["limb"], given["taken_on"], measured, happened_on(visit.today)
            )
            answer = do_once(visit, lambda: _typed_in(visit, command))
    except Invalid as error:
        return _readings_form(number, state_of_form(request.form, error), UNUSABLE)
    flash("The readings are kept.")
    return answer


def _typed(given: dict[str, Any], codes: list[str]) -> Measured:
    values: dict[str, StatedValue] = {}
    faults: dict[str, list[str]] = {}
    for code in codes:
        text = request.form.get(code, "").strip()
        if not text:
            continue
        try:
            values[code] = StatedValue(value=float(parse_decimal(text)), scale=given["scale"])
        except ValueError as error:
            faults[code] = [str(error)]
    if faults:
        raise Invalid("Some readings need another look; what you typed is still here.", faults)
    return stated_readings(values)


def _typed_in(visit: Visit, command: TypeReadings) -> str:
    type_readings(visit.session, visit.access, command, visit.now)
    return _home(visit, "readings")


def _readings_form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        if not visit.access.may(Move.RECORD_READINGS):
            raise NotFound("Readings are typed by the vet or the farrier, on an open case.")
        html = render_template(
            "films/readings.html",
            form=state,
            number=number,
            revision=visit.access.revision,
            key=new_key(),
            today=visit.today,
            limbs=LIMBS,
            scales=SCALE_STATES,
            codes=typed_codes(),
        )
    return make_response(html, status)
