"""A real worker killed with -9 while it renders a sheet: one sheet comes of it in the end."""

import time
from types import SimpleNamespace

import pytest
from sqlalchemy import select, update

from referral.clock import utc_now
from referral.erasing.checking import check_record
from referral.settings import load_settings
from referral.sheets.letters import check_letter
from referral.sheets.models import Sheet, SheetProposal, Signature
from referral.sheets.office import office_of
from referral.sheets.orders import RENDER_SHEET, Order, ask_for_sheet
from referral.sheets.snapshot import SheetKind
from referral.storage.blobs import BlobStore
from referral.storage.jobs import Job
from tests.features.resets.story import RULEBOOK, a_story
from tests.web.test_worker import a_worker, count, plain, until

KILLED = 3
"""Fewer than the tries after which a sheet is given up."""
OURS = Job.kind == RENDER_SHEET


@pytest.fixture
def story(tmp_path, database):
    """A story on an instance's own folder, so that a worker of that instance does its work."""
    (tmp_path / "config.toml").write_text(f'database_url = "{plain(database.url)}"\n')
    settings = load_settings(tmp_path)
    told = a_story(database, tmp_path / "var")
    wired = SimpleNamespace(
        settings=settings,
        blobs=BlobStore(settings.files_dir),
        rulebook=RULEBOOK,
        now=lambda: told.now,
    )
    told.now = utc_now().replace(microsecond=0)
    told.office = office_of(wired)
    told.refer()
    return told


def order(story):
    with story.database.transaction() as session:
        access = story.access(session, "vet")
        check_letter(session, access, SheetKind.REFERRAL)
        asked = Order(SheetKind.REFERRAL, "", {"words": "Ring me from the yard."})
        return ask_for_sheet(session, access, asked, utc_now())


def proposals(story):
    with story.database.reading() as session:
        return list(session.scalars(select(SheetProposal)))


def test_a_worker_killed_while_it_renders_a_sheet_leaves_one_sheet(story, tmp_path):
    database = story.database
    sheet_id = order(story)
    caught = 0
    for waited in range(KILLED):
        with a_worker(tmp_path):
            until(
                lambda: (
                    count(database, Job.id, OURS, Job.claimed_until.is_not(None))
                    or not count(database, Job.id, OURS, Job.ended_at.is_(None))
                )
            )
            time.sleep(0.3 * waited)  # and then kill -9, wherever it is
        caught += not any(each.pdf_sha256 for each in proposals(story))
        with database.transaction() as session:  # its time is up
            session.execute(update(Job).where(OURS).values(claimed_until=None))
    assert caught  # at least one died before it had made the sheet
    with a_worker(tmp_path):
        until(lambda: not count(database, Job.id, OURS, Job.ended_at.is_(None)))
    (made,) = proposals(story)
    assert (made.id, made.refusal) == (sheet_id, None)
    assert story.office.blobs.is_whole(made.pdf_sha256)
    story.move(minutes=30)
    story.sign_first("vet", (made.id, made.pdf_sha256))
    assert (count(database, Sheet.id), count(database, Signature.id)) == (1, 1)
    assert proposals(story) == []
    with database.reading() as session:
        assert check_record(session, story.office.blobs).faults == ()
    # a job left over by a worker that died at the very end makes no second sheet
    with database.transaction() as session:
        session.execute(update(Job).where(OURS).values(ended_at=None, claimed_until=None))
    with a_worker(tmp_path):
        until(lambda: not count(database, Job.id, OURS, Job.ended_at.is_(None)))
    assert (count(database, Sheet.id), proposals(story)) == (1, [])
