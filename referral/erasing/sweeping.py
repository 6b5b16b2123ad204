"""The worker sweeps the store: files that no row names, or only rows of what was erased, go.

What is erased is marked in its own transaction; its files are deleted after that, by this work. A
crash between leaves the work to the next try, and a file that anything else names stays.
"""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from referral.erasing.files import wanted_files
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.jobs import Finish, Handler, enqueue

SWEEP_FILES = "sweep_files"
SETTLED = timedelta(minutes=10)
"""For how long a file that was just put stays, whoever names it: longer than any transaction."""

FIRST_WAIT = timedelta(minutes=1)
AGAIN = timedelta(days=1)


def sweep_soon(session: Session, now: datetime) -> None:
    """Have the store swept: now, and again when what is put at this moment has settled."""
    enqueue(session, SWEEP_FILES, {}, now)
    enqueue(session, SWEEP_FILES, {}, now, now + SETTLED + FIRST_WAIT)


def sweep(database: Database, blobs: BlobStore, now: datetime) -> int:
    """Delete every file that nothing names any more, and return how many those were."""
    with database.reading() as session:
        wanted = wanted_files(session)
    return blobs.sweep(wanted, (now - SETTLED).timestamp())


def file_sweeper(database: Database, blobs: BlobStore, now: Callable[[], datetime]) -> Handler:
    """Return how the worker sweeps the store; it is never given up, only put off."""

    def prepare(_payload: Mapping[str, Any]) -> Finish:
        sweep(database, blobs, now())
        return lambda _session: None

    def give_up(_payload: Mapping[str, Any]) -> Finish:
        return lambda session: _put_off(session, now())

    return Handler(prepare, give_up, first_wait=FIRST_WAIT)


def _put_off(session: Session, now: datetime) -> None:
    enqueue(session, SWEEP_FILES, {}, now, now + AGAIN)
