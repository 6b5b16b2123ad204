"""The chained timeline: what is appended, what is told, and what an edit gives away."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import delete, select, update

from referral.cases.models import Case, CaseMember, Entry, ErasableValue
from referral.cases.queries import case_for
from referral.cases.remarks import AddObservation, add_observation
from referral.cases.service import SetLimit, Words, acknowledge, set_limit
from referral.cases.timeline import GENESIS, NewEntry, append, chain_faults, entries_of
from referral.core.workflow import Move
from referral.errors import Invalid, NotAllowed, NotFound, OutOfDate, WrongState
from referral.notices.models import Notice
from tests.factories import NOW, a_case, a_cast, a_limit, a_referral, typed_readings

LATER = NOW + timedelta(minutes=5)


@pytest.fixture
def referred(database):
    """A case that waits for the farrier's acknowledgement: its cast and its number."""
    with database.transaction() as session:
        cast = a_cast(session)
        number = a_case(session, cast)
        vet = case_for(session, cast.vet.id, number)
        typed_readings(session, vet)
        a_limit(session, vet)
        a_referral(session, vet)
        session.flush()
        session.expunge_all()
    return cast, number


def chain_of(database, cast, number):
    with database.reading() as session:
        access = case_for(session, cast.vet.id, number)
        query = select(Entry).where(Entry.case_id == access.case_id).order_by(Entry.seq)
        return session.scalars(query).all()


def faults(database, cast, number):
    with database.reading() as session:
        return list(chain_faults(session, case_for(session, cast.vet.id, number).case_id))


def test_each_entry_follows_the_one_before_it(database, referred):
    chain = chain_of(database, *referred)
    assert [each.seq for each in chain] == [1, 2, 3, 4]
    assert chain[0].previous_hash == GENESIS
    assert [each.previous_hash for each in chain[1:]] == [each.hash for each in chain[:-1]]
    assert faults(database, *referred) == []


EDITS = {
    "a day": ({"happened_on": date(2020, 1, 1)}, "was changed after it was written"),
    "a moment": ({"recorded_at": NOW - timedelta(days=9)}, "was changed after it was written"),
    "a role": ({"actor_role": "farrier"}, "was changed after it was written"),
    "a kind": ({"kind": "observation_added"}, "was changed after it was written"),
    "a fact": ({"content": {"limb": "RF"}}, "was changed after it was written"),
    "a hash": ({"hash": "f" * 64}, "does not follow the entry before it"),
    "a link": ({"previous_hash": "f" * 64}, "does not follow the entry before it"),
}


@pytest.mark.parametrize("what", EDITS)
def test_an_edit_behind_the_apps_back_is_found(database, referred, what):
    values, said = EDITS[what]
    with database.transaction() as session:
        session.execute(update(Entry).where(Entry.seq == 3).values(**values))
    assert any(said in fault for fault in faults(database, *referred))


def test_a_missing_entry_is_found(database, referred):
    with database.transaction() as session:
        middle = session.scalars(select(Entry).where(Entry.seq == 2)).one()
        session.execute(delete(ErasableValue).where(ErasableValue.entry_id == middle.id))
        session.execute(delete(Entry).where(Entry.seq == 2))
    assert faults(database, *referred) == ["entry 2 is missing; entry 3 stands in its place"]


def test_erased_words_leave_the_chain_whole_and_changed_words_do_not(database, referred):
    with database.transaction() as session:
        goals = session.scalars(select(ErasableValue).where(ErasableValue.field == "goals")).one()
        assert goals.value == "Raise the heel"
        assert session.get_one(Entry, goals.entry_id).content["goals"].keys() == {"sha256"}
        goals.value = "Lower the heel"
    assert "the text of 'goals' was changed" in faults(database, *referred)[0]
    with database.transaction() as session:
        goals = session.scalars(select(ErasableValue).where(ErasableValue.field == "goals")).one()
        goals.value, goals.salt, goals.erased_at = None, None, LATER
    assert faults(database, *referred) == []


def test_nothing_of_an_entry_is_ever_written_again(database, referred):
    before = [(each.id, each.hash, each.content) for each in chain_of(database, *referred)]
    cast, number = referred
    with database.transaction() as session:
        farrier = case_for(session, cast.farrier.id, number)
        acknowledge(session, farrier, Words(None, LATER.date()), LATER)
    after = [(each.id, each.hash, each.content) for each in chain_of(database, *referred)]
    assert after[: len(before)] == before
    assert len(after) == len(before) + 1


def test_what_happened_earlier_stands_where_it_happened(database, referred):
    cast, number = referred
    with database.transaction() as session:
        farrier = case_for(session, cast.farrier.id, number)
        seen = AddObservation("LF", "landing", "Toe first", date(2026, 11, 1))
        add_observation(session, farrier, seen, LATER)
    with database.reading() as session:
        access = case_for(session, cast.vet.id, number)
        shown = entries_of(session, access.case_id)
    assert [each.seq for each in shown] == [4, 3, 2, 1, 5]
    assert shown[-1].recorded_at == LATER
    assert faults(database, cast, number) == []


def test_those_whose_turn_it_becomes_are_told_and_nobody_else(database, referred):
    cast, _number = referred
    with database.reading() as session:
        told = session.scalars(
            select(Notice.person_id).where(Notice.kind == Move.SEND_REFERRAL.value)
        ).all()
    assert told == [cast.farrier.id]


def test_a_move_is_refused_by_role_by_stage_and_by_an_old_page(database, referred):
    cast, number = referred
    new = NewEntry(Move.ACKNOWLEDGE, NOW.date(), based_on=1)
    for who, move, error in (
        (cast.owner, new, NotAllowed),
        (cast.farrier, replace(new, move=Move.GIVE_CONSENT), WrongState),
        (cast.farrier, new, OutOfDate),
    ):
        with database.transaction() as session:
            access = case_for(session, who.id, number)
            with pytest.raises(error):
                append(session, access, move, LATER)
    assert len(chain_of(database, cast, number)) == 4


def test_what_conflicts_with_nobody_is_taken_on_an_old_page(database, referred):
    cast, number = referred
    with database.transaction() as session:
        farrier = case_for(session, cast.farrier.id, number)
        seen = NewEntry(Move.ADD_OBSERVATION, NOW.date(), {"about": "landing"})
        assert append(session, farrier, seen, LATER).seq == 5


def test_numbers_of_cases_are_given_once(database):
    with database.transaction() as session:
        cast = a_cast(session)
        numbers = [a_case(session, cast) for _ in range(5)]
    assert numbers == [1, 2, 3, 4, 5]
    with database.reading() as session:
        assert sorted(session.scalars(select(Case.number))) == numbers


def test_a_stranger_cannot_tell_a_case_from_none(database, referred):
    cast, number = referred
    with database.reading() as session:
        for case_number in (number, 4711):
            with pytest.raises(NotFound, match="There is no such case"):
                case_for(session, cast.other_vet.id, case_number)


def test_a_member_who_has_left_sees_nothing_more(database, referred):
    cast, number = referred
    with database.transaction() as session:
        left = update(CaseMember).where(CaseMember.person_id == cast.farrier.id)
        session.execute(left.values(until=LATER))
    with database.reading() as session, pytest.raises(NotFound):
        case_for(session, cast.farrier.id, number)


@pytest.mark.parametrize(
    ("at_least", "at_most", "said"),
    [(None, None, "at least one bound"), (5.0, 4.0, "nothing could meet this limit")],
)
def test_a_limit_that_says_nothing_is_refused(database, referred, at_least, at_most, said):
    cast, number = referred
    with database.transaction() as session:
        vet = case_for(session, cast.vet.id, number)
        limit = SetLimit(
            "palmar_angle_deg", "after_fit", at_least, at_most, "deg", "must", "LF", None, None,
            NOW.date(),
        )  # fmt: skip
        with pytest.raises(Invalid, match=said):
            set_limit(session, vet, limit, LATER)
