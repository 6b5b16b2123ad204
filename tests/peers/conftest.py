"""The app's own fixtures, for what an independent program is led to."""

from tests.web.conftest import app, clock, make_app

__all__ = ["app", "clock", "make_app"]
