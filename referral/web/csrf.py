"""Forms are taken only from our own pages: a token bound to the session, and the Origin.

The token is an HMAC of the session's id (or, before signing in, of a random
value in the signed visit cookie), so that it need not be stored.
"""

import hmac
import secrets
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar

from flask import Flask, current_app, request, session
from werkzeug.exceptions import Forbidden, Unauthorized

from referral.web.login import SIGNED_OUT, current_actor, is_https, is_signed_in, session_token
from referral.web.wiring import wiring

P = ParamSpec("P")
R = TypeVar("R")
_PROVEN: set[Callable[..., Any]] = set()

FIELD = "csrf_token"
HEADER = "X-CSRF-Token"
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

FOREIGN = "This form was sent from another site, so nothing was done."
STALE = "This page is from before you last signed in or out. Open it again and send it once more."


def install(app: Flask) -> None:
    """Check every request that may change something, and give templates ``csrf_token()``."""
    app.before_request(_check)
    app.add_template_global(csrf_token)


def proven_by_address(view: Callable[P, R]) -> Callable[P, R]:
    """Take this view's forms from anywhere: its address carries the proof, nobody's cookie does."""
    _PROVEN.add(view)
    return view


def csrf_token() -> str:
    """Return the token that a form on this page must send back."""
    if is_signed_in():
        bound_to = f"session:{current_actor().session_id}"
    else:
        bound_to = f"visit:{session.setdefault('visit', secrets.token_urlsafe(16))}"
    key = wiring().settings.secret_key.encode()
    return hmac.digest(key, f"csrf:{bound_to}".encode(), "sha256").hex()


def _check() -> None:
    if request.method in SAFE_METHODS:
        return
    if current_app.view_functions.get(request.endpoint or "") in _PROVEN:
        return
    if not _from_here():
        raise Forbidden(FOREIGN)
    given = request.headers.get(HEADER) or request.form.get(FIELD) or ""
    if hmac.compare_digest(given.encode(), csrf_token().encode()):
        return
    if session_token() and not is_signed_in():
        raise Unauthorized(SIGNED_OUT)
    raise Forbidden(STALE)


def _from_here() -> bool:
    """Say whether the browser says nothing against this being our own page."""
    origin = request.headers.get("Origin")
    if origin is not None:
        scheme = "https" if is_https() else "http"
        return origin == f"{scheme}://{request.host}"
    return request.headers.get("Sec-Fetch-Site", "none") in {"same-origin", "none"}
