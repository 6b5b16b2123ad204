"""A case whose people are told by mail, with a real mail server and a clock moved by hand."""

import dataclasses

import pytest

from referral.app import worker_of
from referral.rulebook.loader import load_rulebook
from referral.storage.blobs import BlobStore
from referral.web.wiring import Wiring
from tests.factories import PASSWORDS, Clock, a_case, a_cast, a_settings
from tests.features.notices.post import a_mail_server


def pytest_collection_modifyitems(items):
    """Let what is here reach a mail server on this machine, and nothing else."""
    for item in items:
        if "/features/notices/" in str(item.path):
            item.add_marker(pytest.mark.allow_hosts(["127.0.0.1"]))


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def box():
    with a_mail_server() as running:
        yield running


@pytest.fixture
def settings(tmp_path, database, box):
    return dataclasses.replace(
        a_settings(tmp_path, database.url),
        address="https://referral.example.org",
        mail_host="127.0.0.1",
        mail_port=box.port,
        mail_tls="none",
        mail_from="yard@referral.example.org",
    )


@pytest.fixture
def wire(database, clock):
    """Return a function that wires an instance with these settings."""

    def wired(settings):
        return Wiring(
            settings=settings,
            database=database,
            blobs=BlobStore(settings.files_dir),
            rulebook=load_rulebook(),
            passwords=PASSWORDS,
            now=clock,
        )

    return wired


@pytest.fixture
def make_worker(wire):
    """Return a function that makes a worker of an instance with these settings."""
    return lambda settings: worker_of(wire(settings))


@pytest.fixture
def worker(make_worker, settings):
    return make_worker(settings)


@pytest.fixture
def case(database):
    """The cast, and the number of their case."""
    with database.transaction() as session:
        cast = a_cast(session)
        number = a_case(session, cast)
        session.flush()
        session.expunge_all()
    return cast, number
