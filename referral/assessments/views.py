"""Assessments: record one, look at one."""

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any
from uuid import UUID

from flask import Blueprint, Response, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.assessments.choices import (
    GIRTH,
    GIRTH_ASKED,
    NUMBERS,
    PARTS,
    PHOTO_SUBJECTS,
    QUESTIONS,
    answers_said,
)
from referral.assessments.models import AssessmentPhoto
from referral.assessments.photos import AddPhotos, SentPhoto, add_photos
from referral.assessments.queries import assessment_of, photo_of
from referral.assessments.schemas import AssessmentForm, PhotosForm
from referral.assessments.service import Assess, assess
from referral.cases.choices import LIMBS
from referral.cases.visit import (
    Visit,
    keep_or_show,
    new_key,
    not_to_come,
    reading_case,
)
from referral.core.measure.registry import MEASURES
from referral.core.workflow import Move
from referral.films.uploads import LONGEST_NAME
from referral.web.forms import FormState, load_form
from referral.web.login import sign_in_required
from referral.web.wiring import wiring
from referral.web.written import unit_sign, with_u

blueprint = Blueprint("assessments", __name__)

PICTURE_POLICY = "default-src 'none'; sandbox"


@blueprint.get("/cases/<int:number>/assessments/new")
@sign_in_required
def new(number: int) -> ResponseReturnValue:
    """Show the form of an assessment."""
    return _form(number, FormState())


@blueprint.post("/cases/<int:number>/assessments")
@sign_in_required
def record(number: int) -> ResponseReturnValue:
    """Record an assessment of one limb."""
    return keep_or_show(number, _recorded, "The assessment is recorded.", partial(_form, number))


def _recorded(visit: Visit) -> str:
    visit.access.check_role(Move.RECORD_READINGS)
    given = load_form(AssessmentForm(), request.form)
    seen_on = not_to_come(given["seen_on"], visit.today, "seen_on")
    command = Assess(
        limb=given["limb"],
        seen_on=seen_on,
        answers={code: given[code] for code in (*QUESTIONS, GIRTH) if given[code]},
        numbers={code: given[code] for code, _asks in NUMBERS if given[code] is not None},
        words=given["words"],
        happened_on=seen_on,
    )
    made = assess(visit.session, visit.access, command, visit.now)
    return url_for("assessments.show", number=visit.number, assessment_id=made)


def _form(number: int, state: FormState, status: int = 200) -> ResponseReturnValue:
    with reading_case(number) as visit:
        visit.access.check_role(Move.RECORD_READINGS)
        html = render_template(
            "assessments/new.html",
            form=state,
            number=number,
            revision=visit.access.revision,
            key=new_key(),
            why_not=visit.access.why_not(Move.RECORD_READINGS),
            today=visit.today,
            limbs=LIMBS,
            parts=PARTS,
            numbers=[
                *((code, asks, _unit(code)) for code, asks in NUMBERS),
                (GIRTH, GIRTH_ASKED, "mm"),
            ],
        )
    return make_response(html, status)


def _unit(code: str) -> str:
    return unit_sign(MEASURES[code].unit)


@blueprint.get("/cases/<int:number>/assessments/<uuid:assessment_id>")
@sign_in_required
def show(number: int, assessment_id: UUID) -> ResponseReturnValue:
    """Show an assessment beside the film's readings."""
    return _shown(number, assessment_id, FormState())


def _shown(
    number: int, assessment_id: UUID, state: FormState, status: int = 200
) -> ResponseReturnValue:
    with reading_case(number) as visit:
        view = assessment_of(visit.session, visit.access.case_id, assessment_id)
        html = render_template(
            "assessments/show.html",
            form=state,
            key=new_key(),
            revision=visit.access.revision,
            may_add=visit.access.may_ever(Move.RECORD_READINGS),
            why_not=visit.access.why_not(Move.ADD_PHOTO),
            subjects=PHOTO_SUBJECTS,
            **_page(number, view),
        )
    return make_response(html, status)


@blueprint.post("/cases/<int:number>/assessments/<uuid:assessment_id>/photos")
@sign_in_required
def add_photo(number: int, assessment_id: UUID) -> ResponseReturnValue:
    """Keep photos of one observation of an assessment."""

    def act(visit: Visit) -> str:
        visit.access.check_role(Move.RECORD_READINGS)
        given = load_form(PhotosForm(), request.form)
        sent = [
            SentPhoto(each.read(), each.filename[-LONGEST_NAME:])
            for each in request.files.getlist("photos")
            if each.filename
        ]
        command = AddPhotos(assessment_id, given["of"], sent, visit.today)
        add_photos(visit.session, visit.access, visit.wired.blobs, command, visit.now)
        return url_for("assessments.show", number=number, assessment_id=assessment_id, _anchor="of")

    answer = keep_or_show(
        number, act, "The photos are kept.", partial(_shown, number, assessment_id)
    )
    work = wiring().work
    if work is not None:
        work()
    return answer


@blueprint.get("/cases/<int:number>/assessments/photos/<uuid:photo_id>.jpg")
@sign_in_required
def photo(number: int, photo_id: UUID) -> ResponseReturnValue:
    """Serve a photo of an assessment, upright and without what its file said besides."""
    with reading_case(number) as visit:
        digest = photo_of(visit.session, visit.access.case_id, photo_id)
        response = Response(visit.wired.blobs.get(digest), content_type="image/jpeg")
    response.headers["Content-Security-Policy"] = PICTURE_POLICY
    return response


def _page(number: int, view: Any) -> Mapping[str, Any]:  # noqa: ANN401 - what the query gives
    asked = dict(NUMBERS)
    rows = [
        (
            asked.get(each.outside.code, MEASURES[each.outside.code].name),
            with_u(each.outside.value, each.outside.u, each.outside.unit),
            None
            if each.film is None
            else f"{MEASURES[each.film.code].name} "
            f"{with_u(each.film.value, each.film.u, each.film.unit)}",
        )
        for each in view.compared
    ]
    return {
        "number": number,
        "row": view.row,
        "said": answers_said(view.row.answers),
        "measured": rows,
        "films": view.films,
        "photos": _by_subject(view.photos),
        "erased": [(dict(PHOTO_SUBJECTS).get(about, about), at) for about, at in view.erased],
        "is_read": all(each.picture_sha256 or each.refusal for each in view.photos),
    }


def _by_subject(photos: Sequence[AssessmentPhoto]) -> list[tuple[str, list[AssessmentPhoto]]]:
    """Return the photos under what they are of, in the order of the form."""
    sorted_out = [
        (says, [each for each in photos if each.about == code]) for code, says in PHOTO_SUBJECTS
    ]
    return [(says, of_it) for says, of_it in sorted_out if of_it]
