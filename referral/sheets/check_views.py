"""The page on which anybody checks a sheet: by the code printed on it, by a copy of the file."""

from threading import BoundedSemaphore
from uuid import UUID

from flask import Blueprint, Response, make_response, render_template, request
from flask.typing import ResponseReturnValue

from referral.errors import Invalid, NotFound, TooLarge
from referral.sheets.copies import Verification
from referral.sheets.fetching import CHECKED, note_after
from referral.sheets.keys import withdrawn_list
from referral.sheets.office import office_of
from referral.sheets.queries import IssuedSheet, issued_lookup, issued_sheet
from referral.sheets.verify import verify_pdf
from referral.web.forms import FormState, state_of_form
from referral.web.wiring import wiring

blueprint = Blueprint("checks", __name__)

NOT_HERE = 404
UNUSABLE = 422
TOO_MANY = 429
LARGEST_PDF_BYTES = 20 * 1024 * 1024
CHECKS_AT_ONCE = 2
_checks = BoundedSemaphore(CHECKS_AT_ONCE)
"""Reading a hostile file may take long; more at once than this wait their turn outside."""


@blueprint.get("/check")
def form() -> ResponseReturnValue:
    """Show the form on which anybody can check a copy of a sheet."""
    return _page(FormState())


@blueprint.post("/check")
def check() -> ResponseReturnValue:
    """Say what a copy is worth; it is not kept."""
    return _check(None)


@blueprint.get("/check/<uuid:sheet_id>")
def sheet(sheet_id: UUID) -> ResponseReturnValue:
    """Say what a sheet's code alone tells: nothing of the horse or of people."""
    found = _issued(sheet_id)
    return _page(FormState(), 200 if found else NOT_HERE, code=sheet_id, sheet=found)


@blueprint.post("/check/<uuid:sheet_id>")
def check_sheet(sheet_id: UUID) -> ResponseReturnValue:
    """Say what a copy is worth, and whether it is of the sheet whose code was read."""
    return _check(sheet_id)


def _issued(sheet_id: UUID) -> IssuedSheet | None:
    with wiring().database.reading() as session:
        try:
            return issued_sheet(session, sheet_id)
        except NotFound:
            return None


def _page(
    state: FormState,
    status: int = 200,
    *,
    code: UUID | None = None,
    sheet: IssuedSheet | None = None,
    answer: Verification | None = None,
) -> Response:
    html = render_template("sheets/check.html", form=state, code=code, sheet=sheet, answer=answer)
    return make_response(html, status)


def _check(code: UUID | None) -> ResponseReturnValue:
    sheet = _issued(code) if code else None
    if not _checks.acquire(blocking=False):
        busy = FormState(sentence="Others are checking; try again in a moment.")
        return _page(busy, TOO_MANY, code=code, sheet=sheet)
    try:
        found = _checked(_upload())
        answer = _page(FormState(), code=code, sheet=sheet, answer=found)
        return note_after(answer, UUID(found.issued_as), CHECKED) if found.issued_as else answer
    except Invalid as error:
        return _page(state_of_form(request.form, error), UNUSABLE, code=code, sheet=sheet)
    finally:
        _checks.release()


def _upload() -> bytes:
    file = request.files.get("sheet")
    if file is None or not file.filename:
        raise Invalid("Choose a PDF.", {"sheet": ["Choose the PDF that you were given."]})
    data = file.stream.read(LARGEST_PDF_BYTES + 1)
    if len(data) > LARGEST_PDF_BYTES:
        raise TooLarge("A sheet is never larger than 20 MB.")
    return data


def _checked(data: bytes) -> Verification:
    wired = wiring()
    office, now = office_of(wired), wired.now()
    authority, time_root = office.authority, office.time_authority_root
    with wired.database.reading() as session:
        withdrawn, lookup = withdrawn_list(session, authority, now), issued_lookup(session)
        return verify_pdf(data, authority.root_pem, withdrawn, lookup, now, time_root)
