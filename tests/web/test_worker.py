"""The worker as a process of its own: it reads what was sent, and killing it loses nothing."""

import hashlib
import signal
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest
from sqlalchemy import func, select, update

from referral.cases.models import Entry
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from referral.clock import utc_now
from referral.films.intake import SendFilm, keep_upload
from referral.films.models import Film, Upload
from referral.films.service import TakenHow
from referral.settings import load_settings
from referral.storage import working
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.jobs import Job
from tests.browser.sample import film_jpeg
from tests.factories import NOW, a_case, a_cast
from tests.features.decode.files import LARGE

PATIENCE_S = 120
FILMS = 4


@pytest.fixture
def instance(tmp_path, database):
    """An instance's folder, joined to the test's database."""
    (tmp_path / "config.toml").write_text(f'database_url = "{plain(database.url)}"\n')
    return tmp_path


def plain(url):
    return url.replace("postgresql+psycopg://", "postgresql://")


@contextmanager
def a_worker(instance):
    command = [sys.executable, "-m", "referral.cli", "worker", "--instance", str(instance)]
    process = subprocess.Popen(command)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def until(condition):
    end = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end, "the worker did not do it"
        time.sleep(0.02)


def count(database, column, *where):
    with database.reading() as session:
        return session.scalar(select(func.count(column)).where(*where))


def send(instance, database, films=FILMS):
    """Send films to one case, each another picture; return the case's id."""
    blobs = BlobStore(load_settings(instance).files_dir)
    j2k = (LARGE / "RG3_J2KR.dcm").read_bytes()
    with database.transaction() as session:
        cast = a_cast(session)
        access = case_for(session, cast.vet.id, a_case(session, cast))
        for number in range(films):
            taken = TakenHow("LF", "lateromedial", NOW.date(), "before", "no")
            data = j2k if number % 2 else film_jpeg((300 + number, 240))
            keep_upload(
                session, access, blobs, SendFilm(data, "a.dcm", taken, NOW.date()), utc_now()
            )
    return access.case_id


def test_a_worker_reads_what_was_sent_and_ends_when_told(instance, database):
    send(instance, database)
    with a_worker(instance) as worker:
        until(lambda: count(database, Film.id) == FILMS)
        worker.send_signal(signal.SIGTERM)
        assert worker.wait(PATIENCE_S) == 0


def test_a_worker_killed_again_and_again_loses_nothing_and_does_nothing_twice(instance, database):
    case_id = send(instance, database)
    before = count(database, Entry.id)
    for kept_waiting in range(FILMS):
        with a_worker(instance):
            until(
                lambda: (
                    count(database, Job.id, Job.claimed_until.is_not(None))
                    or not count(database, Job.id, Job.ended_at.is_(None))
                )
            )
            time.sleep(0.05 * kept_waiting)  # and then kill -9, wherever it is
        with database.transaction() as session:  # its time is up
            session.execute(update(Job).values(claimed_until=None))
    with a_worker(instance):
        until(lambda: not count(database, Job.id, Job.ended_at.is_(None)))
    assert count(database, Film.id) == count(database, Upload.id) == FILMS
    assert count(database, Entry.id) == before + FILMS
    blobs = BlobStore(load_settings(instance).files_dir)
    with database.reading() as session:
        assert list(chain_faults(session, case_id)) == []
        for film in session.scalars(select(Film)):
            assert hashlib.sha256(blobs.get(film.original_sha256)).hexdigest() == (
                film.original_sha256
            )
            assert blobs.is_whole(film.picture_sha256)


def test_two_workers_share_the_work(instance, database):
    send(instance, database, films=8)
    with a_worker(instance), a_worker(instance):
        until(lambda: not count(database, Job.id, Job.ended_at.is_(None)))
    assert count(database, Film.id) == 8
    assert count(database, Job.id, Job.attempts > 1) == 0


def test_a_worker_beside_a_server_ends_with_it(instance, database):
    assert isinstance(database, Database)
    command = [sys.executable, "-m", "referral.cli", "worker", "--beside"]
    worker = subprocess.Popen([*command, "--instance", str(instance)], stdin=subprocess.PIPE)
    time.sleep(0.5)
    assert worker.poll() is None
    worker.stdin.close()
    assert worker.wait(PATIENCE_S) == 0


def test_a_worker_that_is_woken_goes_on_working_and_one_that_is_gone_is_no_fault(
    instance, database, monkeypatch
):
    monkeypatch.setattr(working, "AFTER_A_FAULT_S", 0.2)
    command = [sys.executable, "-m", "referral.cli", "worker", "--beside"]
    keeper = working._Keeper([*command, "--instance", str(instance)])
    keeper.start()
    keeper.wake()
    send(instance, database)
    keeper.wake()
    until(lambda: count(database, Film.id) == FILMS)
    keeper.process.kill()
    keeper.process.wait()
    keeper.wake()
    case_id = send(instance, database)
    until(lambda: count(database, Film.id, Film.case_id == case_id) == FILMS)
    keeper.end()
    keeper.wake()
    assert keeper.process.returncode == 0
