"""What a running app is joined to."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flask import Flask, current_app

from referral.clock import utc_now
from referral.settings import Settings
from referral.storage.blobs import BlobStore
from referral.storage.db import Database

_KEY = "referral"


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything a view hands down: nothing below reaches for the app itself.

    ``rulebook`` and ``passwords`` are made by layers above this one. ``work`` has what waits
    done at once: here, or by the worker beside us; it is None where other workers see to it.
    ``contradictions`` finds limits that no plan can meet together, for the features below
    plans; `create_app` joins it in.
    """

    settings: Settings
    database: Database
    blobs: BlobStore
    rulebook: Any
    passwords: Any
    now: Callable[[], datetime] = utc_now
    work: Callable[[], object] | None = None
    contradictions: Callable[..., Any] | None = None


def install(app: Flask, wired: Wiring) -> None:
    """Join the app to its wiring."""
    app.extensions[_KEY] = wired


def wiring() -> Wiring:
    """Return the wiring of the running app."""
    wired: Wiring = current_app.extensions[_KEY]
    return wired
