"""Who is signed in. The login library is used in this module and nowhere else.

The cookie holds a random token; the session itself is a row in the database, so
it can be listed and ended. Nothing about the person is in the cookie.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec
from urllib.parse import urlencode

import flask_login
from flask import Flask, Request, redirect, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import Unauthorized
from werkzeug.wrappers import Response

from referral.web.wiring import wiring

P = ParamSpec("P")

COOKIE = "referral-session"
COOKIE_SECONDS = 12 * 3600
SIGNED_OUT = (
    "You are signed out. Sign in again in another tab, come back and send this page once more: "
    "what you typed is still here."
)


def install(app: Flask, resume: Callable[[str], Any]) -> None:
    """Let the app find who is signed in; ``resume`` gives the actor of a token, or None."""
    manager = flask_login.LoginManager()
    manager.session_protection = None
    manager.init_app(app)

    @manager.request_loader  # type: ignore[untyped-decorator]  # the library has no types
    def _load(incoming: Request) -> Any:  # noqa: ANN401 - the actor is a type of a layer above
        token = incoming.cookies.get(cookie_name(COOKIE))
        return resume(token) if token else None


def current_actor() -> Any:  # noqa: ANN401 - the actor is a type of a layer above
    """Return the ``accounts.actor.Actor`` who is signed in.

    Raises
    ------
    Unauthorized
        If nobody is.
    """
    if not is_signed_in():
        raise Unauthorized(SIGNED_OUT)
    return flask_login.current_user._get_current_object()  # noqa: SLF001 - the library's documented way


def is_signed_in() -> bool:
    """Say whether this request comes from somebody who is signed in."""
    return bool(flask_login.current_user.is_authenticated)


def sign_in_required(view: Callable[P, ResponseReturnValue]) -> Callable[P, ResponseReturnValue]:
    """Let only people who are signed in reach the view; send page visitors to the door."""

    @wraps(view)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> ResponseReturnValue:
        if is_signed_in():
            return view(*args, **kwargs)
        if request.method in {"GET", "HEAD"} and not wants_json():
            here = request.full_path.rstrip("?")
            return redirect(f"{url_for('accounts.sign_in')}?{urlencode({'next': here})}", 303)
        raise Unauthorized(SIGNED_OUT)

    return guarded


def wants_json() -> bool:
    """Say whether the answer should be JSON rather than a page."""
    if request.path == "/api" or request.path.startswith("/api/"):
        return True
    kinds = request.accept_mimetypes
    return kinds.best_match(["text/html", "application/json"], "text/html") != "text/html"


def is_https() -> bool:
    """Say whether people reach this app by https."""
    return wiring().settings.production or request.is_secure


def cookie_name(name: str) -> str:
    """Return the cookie's name: bound to the host by its prefix wherever there is https."""
    return f"__Host-{name}" if is_https() else name


def session_token() -> str | None:
    """Return the token in the session cookie, valid or not."""
    return request.cookies.get(cookie_name(COOKIE))


def give_token(response: Response, token: str) -> None:
    """Set the session cookie."""
    response.set_cookie(
        cookie_name(COOKIE),
        token,
        max_age=COOKIE_SECONDS,
        path="/",
        secure=is_https(),
        httponly=True,
        samesite="Lax",
    )


def drop_token(response: Response) -> None:
    """Take the session cookie away."""
    response.delete_cookie(
        cookie_name(COOKIE), path="/", secure=is_https(), httponly=True, samesite="Lax"
    )


def safe_next(target: str | None, home: str = "/") -> str:
    """Return where to go after signing in: a path of our own, or home.

    A browser takes a backslash for a slash and drops tabs and line ends, so only
    one slash followed by neither is a path; everything else goes home.
    """
    if not target or not target.startswith("/") or target[1:2] in {"/", "\\"}:
        return home
    if any(ord(character) <= ord(" ") or character == "\x7f" for character in target):
        return home
    return target
