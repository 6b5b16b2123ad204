"""The recheck: whose, when, who sees that it is late, and who is told, each once.

More than 7 days is a caution and its owner is told; more than 14 is an alert and the
coordinators are (common practice, no source).
"""

from collections import Counter

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.app import worker_of
from referral.notices.models import Notice
from referral.notices.policy import RECHECK_LATE
from referral.storage.jobs import Job
from tests.factories import a_person
from tests.web.yard import a_yard, words_of

DAY = "2026-12-01"


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def set_for(yard, who="vet", whose="vet", **changed):
    person = getattr(yard.cast, whose).id
    said = {"owner": f"{whose}.{person}", "due_on": DAY, "films_wanted": "LF from the side"}
    return yard.send(who, "/rechecks/new", "/rechecks", {**said, **changed})


def told(yard):
    """Return how many notices of a late recheck each person has."""
    with yard.database.reading() as session:
        rows = session.scalars(select(Notice.person_id).where(Notice.kind == RECHECK_LATE)).all()
    names = {
        getattr(yard.cast, who).id: who
        for who in ("vet", "farrier", "owner", "other_vet", "other_farrier")
    }
    return dict(Counter(names.get(each, "coordinator") for each in rows))


def work(yard, clock, **by):
    clock.move(**by)
    yard.browsers.clear()
    worker_of(yard.app.extensions["referral"]).run_waiting()


def test_its_owner_is_told_after_seven_days_the_coordinators_after_fourteen_each_once(yard, clock):
    assert set_for(yard).status_code == 303
    page = words_of(yard.open("farrier"))
    assert f"Recheck 1 Dec 2026, {yard.cast.vet.name}" in page
    work(yard, clock, days=13)  # 8 December, 7 days late: overdue, no caution yet
    assert told(yard) == {}
    work(yard, clock, days=1)
    assert told(yard) == {"vet": 1}
    assert "A recheck is late" in words_of(yard.browser("vet").get("/notices"))
    for _again in range(3):
        work(yard, clock, hours=20)
    assert told(yard) == {"vet": 1}
    work(yard, clock, days=5)
    assert told(yard) == {"vet": 1, "coordinator": 1}
    work(yard, clock, days=60)
    assert told(yard) == {"vet": 1, "coordinator": 1}


def test_it_is_a_caution_and_then_an_alert_on_the_desk_the_case_and_in_the_diary(yard, clock):
    set_for(yard)
    for days, late in ((7, "1 day"), (7, "8 days"), (7, "15 days")):
        work(yard, clock, days=days)
        day = "1 Dec 2026"
        pressing = f"Overdue by {late}: recheck, vet, {day}"
        beside = f"Recheck, vet: {late} late, {day}"
        assert pressing in words_of(yard.browser("vet").get("/"))
        # the farrier has the case's own turn besides, and it presses once it is a caution
        desk = words_of(yard.browser("farrier").get("/"))
        assert (beside in desk) != (pressing in desk)
        for who in ("vet", "farrier"):
            assert beside in words_of(yard.open(who))
        assert f"{late} late" in words_of(yard.browser("vet").get("/diary"))
    assert "badge-bad" in yard.browser("vet").get("/").text


@pytest.mark.parametrize("how", ["made", "moved", "closed"])
def test_nobody_is_told_of_a_recheck_that_was_made_moved_or_ended(yard, clock, how):
    set_for(yard)
    work(yard, clock, days=6)
    if how == "made":
        seen = {"about": "landing", "words": "Lands flat"}
        yard.done("vet", "/observations/new", "/observations", seen)
    elif how == "moved":
        assert set_for(yard, due_on="2027-03-01").status_code == 303
    else:
        yard.done("vet", "/closures/new", "/closures", {"outcome": "improved"})
    work(yard, clock, days=40)
    assert told(yard) == {}


def test_a_worker_that_does_the_same_work_twice_tells_nobody_twice(yard, clock):
    set_for(yard, whose="farrier")
    worker = worker_of(yard.app.extensions["referral"])
    clock.move(days=14)
    with yard.database.reading() as session:
        kinds = session.scalars(select(Job.kind).where(Job.ended_at.is_(None))).all()
    assert kinds.count("remind_of_recheck") == 1
    first = worker._claim()
    while first is not None and first.kind != "remind_of_recheck":
        first = worker._claim()
    clock.move(minutes=10)
    worker_of(yard.app.extensions["referral"]).run_waiting()
    assert told(yard) == {"farrier": 1}
    handler = worker.handlers[first.kind]
    worker._end(first, handler.prepare(first.payload), None)
    assert told(yard) == {"farrier": 1}


def test_who_has_the_part_now_is_told_where_the_owner_has_left(yard, clock):
    set_for(yard, whose="farrier")
    with yard.database.transaction() as session:
        forge = session.get(Organisation, yard.cast.forge_id)
        ivo = a_person(session, "farrier", forge, name="Ivo Rand").id
    part = {"part": f"farrier.{yard.cast.farrier.id}", "to_id": str(ivo)}
    part |= {"from_on": "2026-11-25", "reason": "Away"}
    yard.done("farrier", "/hand-overs/new", "/hand-overs", part)
    assert "Recheck 1 Dec 2026, Ivo Rand" in words_of(yard.open("vet"))
    work(yard, clock, days=14)
    with yard.database.reading() as session:
        late = select(Notice.person_id).where(Notice.kind == RECHECK_LATE)
        assert session.scalars(late).all() == [ivo]


def test_a_coordinator_of_the_office_is_told_without_a_way_into_the_case(yard, clock):
    with yard.database.transaction() as session:
        practice = session.get(Organisation, yard.cast.practice_id)
        person = a_person(session, "coordinator", practice)
        yard.emails["office"] = person.email
    set_for(yard)
    work(yard, clock, days=14)
    work(yard, clock, days=7)
    page = yard.browser("office").get("/notices")
    assert f"Marrow, a case of {yard.cast.vet.name} A recheck is late" in words_of(page)
    assert yard.home not in page.text
    assert yard.open("office").status_code == 404
    assert "Marrow" in words_of(yard.browser("office").get("/diary"))


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"due_on": "2026-11-24"}, "due_on"),
        ({"due_on": ""}, "due_on"),
        ({"owner": "vet.00000000-0000-4000-8000-000000000000"}, "owner"),
        ({"owner": "owner"}, "owner"),
    ],
)
def test_a_recheck_needs_an_owner_on_the_case_and_a_day_to_come(yard, changed, field):
    before = yard.rows()
    answer = set_for(yard, **changed)
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert yard.rows() == before
