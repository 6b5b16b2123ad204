"""Work for later: with its change or not at all, done once, tried again, given up in the end."""

from datetime import timedelta

import pytest

from referral.accounts.models import Organisation
from referral.storage.ids import new_id
from referral.storage.jobs import LEASE, MOST_ATTEMPTS, Handler, Job, Worker, enqueue, wait_before
from tests.factories import Clock


@pytest.fixture
def clock():
    return Clock()


class Forges:
    """A kind of work that leaves a row, so that doing it twice would show."""

    def __init__(self, clock):
        self.clock = clock
        self.faults = 0
        self.prepared = 0
        self.before_the_end = lambda: None

    def prepare(self, payload):
        self.prepared += 1
        if self.faults:
            self.faults -= 1
            raise RuntimeError(payload["name"])
        self.before_the_end()
        return lambda session: self._add(session, payload["name"])

    def give_up(self, payload):
        return lambda session: self._add(session, f"no {payload['name']}")

    def _add(self, session, name):
        now = self.clock()
        session.add(Organisation(id=new_id(now), name=name, kind="forge", created_at=now))


@pytest.fixture
def forges(clock):
    return Forges(clock)


@pytest.fixture
def make_worker(database, clock, forges):
    def make(kind="add"):
        return Worker(database, {kind: Handler(forges.prepare, forges.give_up)}, clock)

    return make


def put(database, clock, name="one", kind="add"):
    with database.transaction() as session:
        return enqueue(session, kind, {"name": name}, clock())


def names(database):
    with database.reading() as session:
        return sorted(each.name for each in session.query(Organisation))


def job(database, job_id):
    with database.reading() as session:
        return session.get_one(Job, job_id)


def test_work_is_done_once_in_the_order_it_came(database, clock, make_worker):
    put(database, clock, "one")
    clock.move(seconds=1)
    last = put(database, clock, "two")
    assert make_worker().run_waiting() == 2
    assert make_worker().run_waiting() == 0
    assert names(database) == ["one", "two"]
    assert job(database, last).ended_at == clock()


def test_work_of_a_change_that_was_rolled_back_is_never_done(database, clock, make_worker):
    def change():
        with database.transaction() as session:
            enqueue(session, "add", {"name": "one"}, clock())
            session.flush()
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        change()
    assert make_worker().run_waiting() == 0


def test_work_of_a_kind_this_worker_does_not_know_is_left_for_another(database, clock, make_worker):
    put(database, clock, kind="other")
    assert make_worker().run_waiting() == 0
    assert make_worker("other").run_waiting() == 1


def test_a_fault_is_tried_again_after_a_growing_wait(database, clock, forges, make_worker):
    forges.faults = 2
    put(database, clock)
    worker = make_worker()
    assert worker.run_waiting() == 1
    assert worker.run_waiting() == 0
    clock.move(seconds=wait_before(1).total_seconds())
    assert worker.run_waiting() == 1
    clock.move(seconds=wait_before(1).total_seconds())
    assert worker.run_waiting() == 0
    clock.move(seconds=wait_before(1).total_seconds())
    assert worker.run_waiting() == 1
    assert names(database) == ["one"]


def test_work_that_fails_every_time_is_given_up_and_says_so(database, clock, forges, make_worker):
    forges.faults = 99
    given_up = put(database, clock)
    for _ in range(MOST_ATTEMPTS):
        assert make_worker().run_waiting() == 1
        clock.move(hours=1)
    assert names(database) == []
    assert make_worker().run_waiting() == 1
    assert names(database) == ["no one"]
    assert job(database, given_up).fault == "given up"
    assert make_worker().run_waiting() == 0


def test_what_a_dead_worker_had_is_done_by_the_next_when_its_time_is_up(
    database, clock, make_worker
):
    put(database, clock)
    assert make_worker()._claim() is not None  # and then it is killed
    assert make_worker().run_waiting() == 0
    clock.move(seconds=LEASE.total_seconds())
    assert make_worker().run_waiting() == 1
    assert names(database) == ["one"]


def test_a_worker_that_took_too_long_changes_nothing_twice(database, clock, forges, make_worker):
    put(database, clock)

    def meanwhile():
        forges.before_the_end = lambda: None
        clock.move(seconds=LEASE.total_seconds())
        assert make_worker().run_waiting() == 1

    forges.before_the_end = meanwhile
    assert make_worker().run_waiting() == 1
    assert forges.prepared == 2
    assert names(database) == ["one"]


def test_waits_double():
    assert [wait_before(n) / wait_before(1) for n in (1, 2, 3, 4)] == [1, 2, 4, 8]
    assert wait_before(MOST_ATTEMPTS) < timedelta(minutes=1)
