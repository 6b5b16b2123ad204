"""Words erased: looked for in every row of every table, one entry after the other."""

import pytest
from sqlalchemy import select

from referral.cases.models import Entry, ErasableValue
from referral.erasing.checking import check_record
from referral.erasing.gathering import WORDS
from referral.erasing.service import Erase, erase
from tests.features.erasing.marked import marks_in, rows_as_text, write_everything
from tests.features.resets.story import a_story


@pytest.fixture
def story(database, tmp_path):
    story = a_story(database, tmp_path)
    write_everything(story)
    return story


def entries_with_words(story):
    with story.database.reading() as session:
        rows = session.execute(
            select(Entry.id, Entry.kind, ErasableValue.value)
            .join(ErasableValue, ErasableValue.entry_id == Entry.id)
            .order_by(Entry.seq)
        ).all()
    found = {}
    for entry_id, kind, value in rows:
        found.setdefault((entry_id, kind), set()).update(marks_in(value))
    return found


def erase_words(story, entry_id, why="Asked by the owner"):
    story.move(minutes=1)
    with story.database.transaction() as session:
        command = Erase(WORDS, entry_id, why, story.today)
        return erase(session, story.access(session, "vet"), story.office.blobs, command, story.now)


def checked(story):
    with story.database.reading() as session:
        return check_record(session, story.office.blobs).faults


REPEATED_IN = {
    "assessment", "caution_acknowledgement", "closure", "consent", "countersign", "deviation",
    "erasable_value", "finding", "flag_answer", "judgement", "limit", "observation", "plan",
    "plan_limb", "problem", "question", "recheck", "red_flag", "referral", "reset", "reset_limb",
    "review", "waiver",
}  # fmt: skip
"""Every table in which somebody's words are kept, found by looking for them."""


def test_words_are_repeated_in_these_tables_and_no_other(story):
    lines = rows_as_text(story.database).splitlines()
    assert {line.partition(":")[0] for line in lines if marks_in(line)} == REPEATED_IN


def test_the_words_of_every_entry_go_from_every_table_and_the_chain_still_verifies(story):
    before = entries_with_words(story)
    for (entry_id, kind), marks in before.items():
        left = marks_in(rows_as_text(story.database))
        assert marks <= left, kind
        erase_words(story, entry_id)
        assert marks_in(rows_as_text(story.database)) & marks == set(), kind
        assert checked(story) == ()
    assert marks_in(rows_as_text(story.database)) == set()
