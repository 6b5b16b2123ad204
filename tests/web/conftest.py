"""The whole app on a clean database, with a clock that is moved by hand."""

import dataclasses

import pytest

from referral.app import create_app, worker_of
from referral.rulebook.loader import load_rulebook
from referral.storage.blobs import BlobStore
from referral.web.wiring import Wiring
from tests.factories import PASSWORDS, Clock, a_settings


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def make_app(database, clock, tmp_path):
    """Return a function that makes the app, with settings changed as it is told."""

    def make(**changes):
        settings = dataclasses.replace(a_settings(tmp_path, database.url), **changes)
        wired = Wiring(
            settings=settings,
            database=database,
            blobs=BlobStore(settings.files_dir),
            rulebook=load_rulebook(),
            passwords=PASSWORDS,
            now=clock,
        )
        at_once = dataclasses.replace(wired, work=worker_of(wired).run_waiting)
        return create_app(settings, at_once)

    return make


@pytest.fixture
def app(make_app):
    return make_app()
