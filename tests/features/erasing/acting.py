"""Erasing in tests, the work that follows it, and what is then looked at."""

import os

from sqlalchemy import func, select

from referral.erasing.checking import check_record
from referral.erasing.service import Erase, erase
from referral.erasing.sweeping import SWEEP_FILES, file_sweeper
from referral.films.models import Film
from referral.storage.jobs import Worker

WHY = "The owner asked for it"


def settle(story):
    """Let every file be so old that nobody can be about to name it."""
    for path in story.office.blobs.folder.glob("*/*"):
        os.utime(path, (0, 0))


def film_of(story):
    with story.database.reading() as session:
        return session.scalars(select(Film)).one()


def erased(story, what, subject_id, who="vet", why=WHY):
    story.move(minutes=1)
    with story.database.transaction() as session:
        command = Erase(what, subject_id, why, story.today)
        access = story.access(session, who)
        return erase(session, access, story.office.blobs, command, story.now)


def work(story):
    sweeper = file_sweeper(story.database, story.office.blobs, lambda: story.now)
    return Worker(story.database, {SWEEP_FILES: sweeper}, lambda: story.now).run_waiting()


def faults(story):
    with story.database.reading() as session:
        return check_record(session, story.office.blobs).faults


def stored(story):
    return {path.name for path in story.office.blobs.folder.glob("*/*")}


def count(story, *what):
    with story.database.reading() as session:
        return [session.scalar(select(func.count()).select_from(each)) for each in what]
