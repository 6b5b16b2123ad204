"""The sweep: what goes, what stays, what a crash leaves, and what is found to be wrong."""

import os
from dataclasses import replace
from datetime import timedelta

from sqlalchemy import delete, select, update

from referral.cases.models import Erasure
from referral.erasing.files import NAMINGS, wanted_files
from referral.erasing.gathering import FILM
from referral.erasing.sweeping import SETTLED, SWEEP_FILES, file_sweeper
from referral.sheets.models import SheetProposal
from referral.storage.db import Base
from referral.storage.jobs import Job
from tests.features.erasing.acting import (
    count,
    erased,
    faults,
    film_of,
    settle,
    stored,
    work,
)


def test_drafts_that_wait_to_be_signed_go_with_whatever_is_erased(story):
    _draft, digest = story.propose_reset(replace(story.fitted(1)))
    settle(story)
    going = erased(story, FILM, film_of(story).id)
    assert going.drafts == 1
    work(story)
    assert count(story, SheetProposal) == [0]
    assert digest not in stored(story)


def test_a_file_that_was_just_put_waits_and_goes_with_the_next_sweep(filmed):
    film = film_of(filmed)
    fresh = filmed.now.timestamp()
    for digest in (film.original_sha256, film.picture_sha256):
        os.utime(filmed.office.blobs.folder / digest[:2] / digest, (fresh, fresh))
    erased(filmed, FILM, film.id)
    work(filmed)
    assert film.original_sha256 in stored(filmed)
    filmed.move(seconds=SETTLED.total_seconds() + 70)
    assert work(filmed) == 1
    assert film.original_sha256 not in stored(filmed)


def test_a_crash_while_a_file_is_taken_away_neither_keeps_nor_loses_one(story):
    film, sheet = film_of(story), story.latest("agreed_plan")
    folder = story.office.blobs.folder
    for digest in (film.original_sha256, sheet.pdf_sha256):
        (folder / digest[:2] / digest).rename(folder / digest[:2] / f"{digest}.going")
    half = folder / film.original_sha256[:2] / "tmpabc"
    half.write_bytes(b"half")
    settle(story)
    erased(story, FILM, film.id)
    work(story)
    assert sheet.pdf_sha256 in stored(story)
    assert not any("." in name or len(name) != 64 for name in stored(story))
    assert faults(story) == ()


def test_a_tombstone_without_its_entry_and_an_entry_without_its_tombstone_are_found(filmed):
    erased(filmed, FILM, film_of(filmed).id)
    work(filmed)
    with filmed.database.transaction() as session:
        session.execute(update(Erasure).values(files=[]))
    assert faults(filmed) == (
        "case 1: a film of LF, taken 25 Nov 2026 was erased, and its entry says something else",
    )
    with filmed.database.transaction() as session:
        session.execute(delete(Erasure))
    said = " ".join(faults(filmed))
    assert "an entry says that a film of LF, taken 25 Nov 2026 was erased, and nothing" in said
    assert "the original of film" in said


def test_every_column_that_holds_a_file_is_named(story):
    named = {f"{each.digest.class_.__tablename__}.{each.digest.key}" for each in NAMINGS}
    hashes = {
        f"{table.name}.{column.name}"
        for table in Base.metadata.sorted_tables
        for column in table.columns
        if column.name.endswith("sha256")
    }
    assert hashes - named == NO_FILES
    with story.database.reading() as session:
        assert wanted_files(session) < stored(story)


NO_FILES = {
    "idempotency_key.body_sha256", "judgement.basis_sha256", "judgement.rulebook_sha256",
    "review.seen_sha256", "session.token_sha256", "sheet_proposal.subject_sha256",
    "sign_in.address_sha256", "sign_in.email_sha256", "stopped_address.email_sha256",
}  # fmt: skip
"""Hashes of what is no file of the store."""


def test_work_that_fails_often_is_put_off_and_never_given_up(filmed):
    erased(filmed, FILM, film_of(filmed).id)
    sweeper = file_sweeper(filmed.database, filmed.office.blobs, lambda: filmed.now)
    with filmed.database.transaction() as session:
        session.execute(delete(Job))
        sweeper.give_up({})(session)
    with filmed.database.reading() as session:
        job = session.scalars(select(Job)).one()
    assert (job.kind, job.run_after) == (SWEEP_FILES, filmed.now + timedelta(days=1))
