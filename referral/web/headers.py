"""Headers on every answer: what a page may load, and that nobody keeps it."""

import secrets

from flask import Flask, Response, g, request

from referral.web.login import is_https

YEAR_SECONDS = 365 * 24 * 3600


def install(app: Flask) -> None:
    """Set the headers on every answer, and give templates ``csp_nonce()``."""
    app.add_template_global(csp_nonce)
    app.after_request(_set)


def csp_nonce() -> str:
    """Return this answer's nonce for its own script and style elements."""
    if "csp_nonce" not in g:
        g.csp_nonce = secrets.token_urlsafe(16)
    nonce: str = g.csp_nonce
    return nonce


def _set(response: Response) -> Response:
    headers = response.headers
    headers.setdefault("Content-Security-Policy", _policy())
    headers["X-Content-Type-Options"] = "nosniff"
    headers["Referrer-Policy"] = "same-origin"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"
    headers["Permissions-Policy"] = "camera=(self), geolocation=(), microphone=()"
    if request.endpoint != "static":
        headers["Cache-Control"] = "private, no-store"
    if is_https():
        headers["Strict-Transport-Security"] = f"max-age={YEAR_SECONDS}; includeSubDomains"
    return response


def _policy() -> str:
    nonce = f"'nonce-{csp_nonce()}'"
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src 'self' {nonce}",
            f"style-src 'self' {nonce}",
            "img-src 'self' data: blob:",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )
