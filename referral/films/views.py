"""Films: add one, look at it, place landmarks and scale, type readings."""

import time
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import PurePath
from typing import Any
from uuid import UUID

from flask import Blueprint, Response, jsonify, make_response, render_template, request
from flask import url_for as address
from flask.typing import ResponseReturnValue

from referral.cases.access import CaseAccess
from referral.cases.choices import LIMBS
from referral.cases.erasures import refuse_erased, when_erased
from referral.cases.visit import (
    Visit,
    keep_or_show,
    new_key,
    not_to_come,
    reading_case,
)
from referral.core.geometry.frames import shown_size
from referral.core.measure.stated import stated_readings
from referral.core.workflow import Move
from referral.errors import Invalid
from referral.films.doubts import beside_earlier, doubts_of
from referral.films.guides import guides_of_photo
from referral.films.intake import SendFilm, is_film, is_settled, keep_upload, upload_of
from referral.films.originals import disposition, may_have, offer_says, original_of
from referral.films.pages import (
    film_page,
    live_readings,
    measured_now,
    shown_readings,
    typed_codes,
)
from referral.films.preview import OnScreen, preview
from referral.films.queries import MeasuredFilm, file_tags, film_of, film_to_see
from referral.films.repeats import sds_of
from referral.films.schemas import (
    SAID,
    SCALE_STATES,
    SHOD,
    TRIMS,
    VIEWS,
    YES_NO,
    FilmForm,
    MeasureForm,
    ReadingsForm,
    typed_values,
)
from referral.films.service import (
    MeasureFilm,
    TakenHow,
    TypeReadings,
    measure_film,
    measure_move_of,
    move_of,
    type_readings,
)
from referral.films.uploads import check_places, refuse_other_picture, scale_given, sent_file
from referral.storage.decode.film import in_proportion
from referral.web.forms import (
    SUMMARY,
    FormState,
    load_form,
    load_json,
    state_of_form,
)
from referral.web.login import sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("films", __name__)

UNUSABLE = 422
TOO_LARGE = 413
LONGEST_WAIT_S = 8.0
BETWEEN_LOOKS_S = 0.02
NOTHING_PLACED = "Place a landmark, or both ends of the marker with its length."
PICTURE_POLICY = "default-src 'none'; sandbox"


def _home(visit: Visit, anchor: str) -> str:
    return address("desk.case", number=visit.number, _anchor=anchor)


@blueprint.get("/cases/<int:number>/films/new")
@sign_in_required
def new_film(number: int) -> ResponseReturnValue:
    """Show the form that adds a film or photo."""
    return _film_form(number, FormState())


@blueprint.post("/cases/<int:number>/films")
@sign_in_required
def add(number: int) -> ResponseReturnValue:
    """Keep a film as it was uploaded, have it read, and open its editor."""
    with reading_case(number) as visit:
        views_for(visit.access)
    sent: list[UUID] = []

    def act(visit: Visit) -> str:
        given = load_form(FilmForm(), request.form)
        not_to_come(given["taken_on"], visit.today, "taken_on")
        if given["view"] not in dict(views_for(visit.access)):
            raise Invalid(SUMMARY, {"view": ["Your role adds photos only."]})
        data, name = sent_file(request.files.get("film"))
        command = SendFilm(data, name, _taken(given), visit.today)
        sent.append(keep_upload(visit.session, visit.access, visit.wired.blobs, command, visit.now))
        return address("films.show", number=number, film_id=sent[0])

    form = partial(_film_form, number)
    answer = keep_or_show(number, act, "", form)
    if not sent:
        return answer
    _await(sent[0])
    with reading_case(number) as visit:
        upload = upload_of(visit.session, visit.access.case_id, sent[0])
    if upload.refusal is None:
        return answer
    refused = Invalid(upload.refusal, {"film": [upload.refusal]})
    return form(
        state_of_form(request.form, refused), TOO_LARGE if upload.is_too_large else UNUSABLE
    )


def views_for(access: CaseAccess) -> list[tuple[str, str]]:
    """Return the views that this person may add, with their names.

    Raises
    ------
    NotAllowed
        If there is none; says who does it.
    """
    allowed = [(code, says) for code, says in VIEWS if access.may_ever(move_of(code))]
    if not allowed:
        access.check_role(Move.ADD_PHOTO)
    return allowed


def _taken(given: Mapping[str, Any]) -> TakenHow:
    return TakenHow(
        limb=given["limb"],
        view=given["view"],
        taken_on=given["taken_on"],
        trim=given["trim"],
        shod=given["shod"],
        condyles_superimposed=SAID[given["superimposed"]],
        cannon_vertical=SAID[given["cannon_vertical"]],
        on_blocks=SAID[given["on_blocks"]],
        beam_at_sole=SAID[given["beam_at_sole"]],
        days_since_trim=given["days_since_trim"],
    )


def _await(upload_id: UUID) -> None:
    """Wait a little for the worker; a film that takes longer is shown as being read."""
    wired = wiring()
    if wired.work is not None:
        wired.work()
    until = time.monotonic() + LONGEST_WAIT_S
    while time.monotonic() < until:
        with wired.database.reading() as session:
            if is_settled(session, upload_id):
                return
        time.sleep(BETWEEN_LOOKS_S)


def _film_form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        views = views_for(visit.access)
        html = render_template(
            "films/new.html",
            form=state,
            number=number,
            revision=visit.access.revision,
            key=new_key(),
            why_not=visit.access.why_not(move_of(views[-1][0])),
            today=visit.today,
            limbs=LIMBS,
            views=views,
            trims=TRIMS,
            shod=SHOD,
            yes_no=YES_NO,
        )
    return make_response(html, status)


@blueprint.get("/cases/<int:number>/films/<uuid:film_id>")
@sign_in_required
def show(number: int, film_id: UUID) -> ResponseReturnValue:
    """Show a film with its landmarks, scale and readings; or how its reading goes."""
    with reading_case(number) as visit:
        case_id = visit.access.case_id
        if not is_film(visit.session, case_id, film_id):
            upload = upload_of(visit.session, case_id, film_id)
            refuse_erased(when_erased(visit.session, film_id), "file")
            return render_template("films/waiting.html", number=number, upload=upload)
    return _editor(number, film_id, FormState())


def _editor(number: int, film_id: UUID, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        film = film_of(visit.session, visit.access.case_id, film_id)
        if film.erased is not None:
            return _erased(visit, film)
        may = visit.access.may(measure_move_of(film.film.view))
        measured = measured_now(film)
        doubts = (
            *doubts_of(visit.session, film),
            *beside_earlier(visit.session, film, measured),
        )
        page = film_page(film, measured, doubts, number, visit.access.revision, may_measure=may)
        offer = offer_says(film.film) if may_have(visit.access, film.film) else ""
        guides = guides_of_photo(visit.session, film.film) if page.is_photo else None
    more = {"offer": offer, "guides": guides, "key": new_key()}
    html = render_template("films/show.html", page=page, form=state, **more)
    return make_response(html, status)


def _erased(visit: Visit, film: MeasuredFilm) -> ResponseReturnValue:
    """Show what is left of a film that was erased: when it was taken, and what it read."""
    readings = shown_readings(measured_now(film))
    return render_template("films/erased.html", number=visit.number, film=film, readings=readings)


@blueprint.post("/cases/<int:number>/films/<uuid:film_id>/landmarks")
@sign_in_required
def measure(number: int, film_id: UUID) -> ResponseReturnValue:
    """Keep landmarks and scale, and the readings they give."""

    def act(visit: Visit) -> str:
        film = film_to_see(visit.session, visit.access.case_id, film_id)
        visit.access.check_role(measure_move_of(film.film.view))
        given = load_form(MeasureForm(), request.form)
        refuse_other_picture(film, given)
        points = given["landmarks"]
        check_places(film.film, points)
        scale = scale_given(film, file_tags(visit.session, film_id), given)
        if not points and scale is None:
            raise Invalid("There is nothing to keep yet.", {"landmarks": [NOTHING_PLACED]})
        own = sds_of(visit.session, visit.access.actor_id, film.film.view)
        return _measured(visit, MeasureFilm(film_id, points, scale, visit.today, own))

    said = "Landmarks, scale and readings are kept."
    return keep_or_show(number, act, said, partial(_editor, number, film_id))


def _measured(visit: Visit, command: MeasureFilm) -> str:
    measure_film(visit.session, visit.access, command, visit.now)
    return address("films.show", number=visit.number, film_id=command.film_id)


@blueprint.post("/cases/<int:number>/films/<uuid:film_id>/reading-previews")
@sign_in_required
def reading_preview(number: int, film_id: UUID) -> ResponseReturnValue:
    """Compute the readings of landmarks on screen, with nothing kept."""
    with reading_case(number) as visit:
        film = film_to_see(visit.session, visit.access.case_id, film_id)
        visit.access.check_role(measure_move_of(film.film.view))
        given = load_json(MeasureForm(), request.get_json(silent=True) or {})
        check_places(film.film, given["landmarks"])
        own = sds_of(visit.session, visit.access.actor_id, film.film.view)
        tags = file_tags(visit.session, film_id)
        placed = OnScreen(given["landmarks"], scale_given(film, tags, given), own)
        measured, on_screen = preview(film, placed)
        beside = beside_earlier(visit.session, film, measured)
        measured = replace(measured, warnings=(*measured.warnings, *beside))
    return jsonify(live_readings(measured, on_screen))


@blueprint.get("/cases/<int:number>/films/<uuid:film_id>/picture.jpg")
@sign_in_required
def picture(number: int, film_id: UUID) -> ResponseReturnValue:
    """Serve the picture of a film."""
    with reading_case(number) as visit:
        film = film_to_see(visit.session, visit.access.case_id, film_id)
        data = visit.wired.blobs.get(film.film.picture_sha256)
    shown = in_proportion(data, shown_size(film.size_px, film.scale.aspect))
    return _file(shown, "image/jpeg")


@blueprint.get("/cases/<int:number>/films/<uuid:film_id>/original")
@sign_in_required
def original(number: int, film_id: UUID) -> ResponseReturnValue:
    """Serve the original as a download: a DICOM file to vets, a photo without its metadata."""
    with reading_case(number) as visit:
        film = film_to_see(visit.session, visit.access.case_id, film_id)
        given = original_of(visit.access, film.film, visit.wired.blobs)
    response = _file(given.data, given.mime_type)
    plain = f"{film_id}{PurePath(given.name).suffix}"
    response.headers["Content-Disposition"] = disposition(given.name, plain)
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

    def act(visit: Visit) -> str:
        visit.access.check_role(Move.RECORD_READINGS)
        given = load_form(ReadingsForm(), request.form, also=codes)
        taken_on = not_to_come(given["taken_on"], visit.today, "taken_on")
        measured = stated_readings(typed_values(request.form, given["scale"]))
        return _typed_in(visit, TypeReadings(given["limb"], taken_on, measured, visit.today))

    return keep_or_show(number, act, "The readings are kept.", partial(_readings_form, number))


def _typed_in(visit: Visit, command: TypeReadings) -> str:
    type_readings(visit.session, visit.access, command, visit.now)
    return _home(visit, "readings")


def _readings_form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.RECORD_READINGS)
        html = render_template(
            "films/readings.html",
            form=state,
            number=number,
            revision=visit.access.revision,
            key=new_key(),
            why_not=visit.access.why_not(Move.RECORD_READINGS),
            today=visit.today,
            limbs=LIMBS,
            scales=SCALE_STATES,
            codes=typed_codes(),
        )
    return make_response(html, status)
