"""Words erased: looked for in every row of every table, one entry after the other."""

import pytest
from sqlalchemy import select, update

from referral.cases.asking import AskExamination, ask_examination, turn_down
from referral.cases.joining import AskOnto, Choice, ask_onto
from referral.cases.models import Entry, ErasableValue, Problem
from referral.cases.service import Member, OpenCase
from referral.core.workflow import Move, Role
from referral.erasing.checking import check_record
from referral.erasing.gathering import WORDS
from referral.erasing.service import Erase, erase
from referral.errors import Invalid
from tests.factories import a_horse
from tests.features.erasing.marked import (
    doing,
    mark,
    marks_in,
    rows_as_text,
    said,
    write_everything,
)
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


def test_the_words_of_a_request_and_of_its_answer_go_too(database, tmp_path):
    story = a_story(database, tmp_path)
    ask_and_turn_down(story)
    kinds = []
    for (entry_id, kind), marks in entries_with_words(story).items():
        kinds.append(kind)
        erase_words(story, entry_id)
        assert marks_in(rows_as_text(story.database)) & marks == set()
    assert kinds == ["examination_asked", "examination_turned_down"]
    assert checked(story) == ()


def ask_and_turn_down(story):
    """Ask the vet for an examination of another horse, and have it turned down."""
    with story.database.transaction() as session:
        horse = a_horse(session, story.cast, "Bramble", story.now)
        opener = Member(story.cast.farrier.id, Role.FARRIER, story.cast.forge_id)
        vet = Member(story.cast.vet.id, Role.VET, story.cast.practice_id)
        case = OpenCase(horse.id, "GB", "Europe/London", opener, (vet,), story.today)
        chosen = Choice(vet.person_id, None)
        asked = AskExamination(case, chosen, "LF", "landing", mark(), "routine")
        story.number = ask_examination(session, asked, story.now).number
    doing(story, "vet", turn_down, said(story))


def test_an_entry_that_keeps_only_an_address_or_a_reason_is_refused(database, tmp_path):
    story = a_story(database, tmp_path)
    with story.database.transaction() as session:
        vet = story.access(session, "vet")
        asked = AskOnto(Role.APPRENTICE, Choice(None, "new@example.org"), story.today)
        ask_onto(session, vet, asked, story.now)
        entry = session.scalars(select(Entry).where(Entry.kind == Move.INVITE.value)).one()
    with pytest.raises(Invalid, match="only the address that somebody was asked by"):
        erase_words(story, entry.id)


def test_what_the_check_finds_of_words_that_are_half_erased(story):
    (entry_id, _kind), *_rest = entries_with_words(story)
    erase_words(story, entry_id)
    with story.database.transaction() as session:
        session.execute(update(Problem).values(words="Back again"))
    assert checked(story) == (
        "case 1: words of entry 4 were erased and still stand in problem.words",
    )
    with story.database.transaction() as session:
        one = select(ErasableValue.id).where(ErasableValue.field == "goals").scalar_subquery()
        gone = update(ErasableValue).where(ErasableValue.id == one)
        session.execute(gone.values(value=None, salt=None))
    assert any("'goals' of entry" in each and "nobody erased" in each for each in checked(story))
