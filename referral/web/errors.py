"""One table from what went wrong to an HTTP status, and one page (or problem) that says it."""

import logging
import secrets
from typing import Any

from flask import Flask, Response, jsonify, make_response, render_template, request
from werkzeug.exceptions import HTTPException, SecurityError
from werkzeug.http import HTTP_STATUS_CODES

from referral.core.errors import CoreError
from referral.errors import (
    Invalid,
    NotAllowed,
    NotFound,
    OutOfDate,
    ReferralError,
    SettingsFault,
    TooLarge,
    WrongState,
)
from referral.web.login import wants_json

log = logging.getLogger(__name__)

STATUSES: dict[type[Exception], int] = {
    NotFound: 404,
    NotAllowed: 403,
    WrongState: 409,
    OutOfDate: 409,
    TooLarge: 413,
    Invalid: 422,
    CoreError: 422,
    SettingsFault: 500,
}

SENTENCES = {
    400: "The request could not be read. Go back and send it again.",
    401: "Sign in first.",
    403: "You may not do this.",
    404: "There is nothing here, or nothing that you may see.",
    405: "This address cannot be used in this way. Go back and use the page's own buttons.",
    413: "What was sent is larger than this page takes.",
    415: "This page does not take that kind of content.",
    422: "What was sent cannot be used.",
    429: "Too many requests. Wait a little, then try again.",
}
OUR_FAULT = (
    "Something went wrong on our side and nothing was saved. "
    "Please give this number when you report it: "
)
FOREIGN_HOST = "This address does not belong to the people who run this."
DROPPED_HEADERS = frozenset({"content-type", "content-length"})


def install(app: Flask) -> None:
    """Answer every error of ours, of the core, of HTTP, and anything unforeseen."""
    app.register_error_handler(ReferralError, _ours)
    app.register_error_handler(CoreError, _cores)
    app.register_error_handler(HTTPException, _https)
    app.register_error_handler(Exception, _unforeseen)


def status_of(error: Exception) -> int:
    """Return the HTTP status for an error of ours."""
    for kind in type(error).__mro__:
        if kind in STATUSES:
            return STATUSES[kind]
    return 500


def _ours(error: ReferralError) -> Response:
    status = status_of(error)
    if status >= 500:  # noqa: PLR2004 - the server's own faults
        return _unforeseen(error)
    faults = error.faults if isinstance(error, Invalid) else {}
    return _answer(status, error.message or SENTENCES.get(status, ""), faults)


def _cores(error: CoreError) -> Response:
    return _answer(status_of(error), error.message, {error.at: [error.message]} if error.at else {})


def _https(error: HTTPException) -> Response | HTTPException:
    status = error.code
    if status is None or status < 400 or error.response is not None:  # noqa: PLR2004 - redirects
        return error
    if isinstance(error, SecurityError):
        return _bare(FOREIGN_HOST, status)
    said = error.description if error.description != type(error).description else None
    response = _answer(status, said or SENTENCES.get(status) or HTTP_STATUS_CODES.get(status, ""))
    for name, value in error.get_headers():
        if name.lower() not in DROPPED_HEADERS:
            response.headers[name] = value
    return response


def _unforeseen(error: Exception) -> Response:
    log_id = secrets.token_hex(4)
    log.error("%s at %s %s", log_id, request.method, request.path, exc_info=error)
    return _answer(500, f"{OUR_FAULT}{log_id}.")


def _answer(status: int, sentence: str, faults: dict[str, list[str]] | None = None) -> Response:
    title = HTTP_STATUS_CODES.get(status, "Error")
    if wants_json():
        problem: dict[str, Any] = {
            "type": "about:blank",
            "title": title,
            "status": status,
            "detail": sentence,
        }
        if faults:
            problem["errors"] = faults
        response = jsonify(problem)
        response.content_type = "application/problem+json"
    else:
        response = _page(title, sentence, faults)
    response.status_code = status
    return response


def _page(title: str, sentence: str, faults: dict[str, list[str]] | None) -> Response:
    """Return the error page; the bare sentence where even that page cannot be made."""
    try:
        page = render_template("errors/error.html", title=title, sentence=sentence, faults=faults)
    except Exception:
        log.exception("The error page could not be made.")
        return _bare(sentence, 500)
    return make_response(page)


def _bare(sentence: str, status: int) -> Response:
    return Response(f"{sentence}\n", status, content_type="text/plain; charset=utf-8")
