"""Two people at once, and twenty: every save is whole, none is lost, one plan of two wins."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from sqlalchemy import func, select

from referral.cases.models import Entry
from referral.cases.queries import case_for
from referral.cases.remarks import AddObservation, add_observation
from referral.cases.service import Words, acknowledge
from referral.cases.timeline import chain_faults
from referral.errors import OutOfDate
from referral.plans.models import PlanRow
from referral.plans.service import SubmitPlan, submit_plan
from referral.rulebook.loader import load_rulebook
from tests.factories import NOW, a_case, a_cast, a_limit, a_referral, typed_readings

RULEBOOK = load_rulebook()
PLAN = {
    "toe_trim_mm": 4.0,
    "heel_trim_mm": 0.0,
    "interval_weeks": 5.0,
    "shoe": {"category": "open", "thickness_mm": 10.0},
}


def together(count, work):
    """Run this so many times at once, and return what each gave or raised."""
    start = Barrier(count)

    def one(place):
        start.wait()
        try:
            return work(place)
        except OutOfDate as error:
            return error

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(one, range(count)))


@pytest.fixture
def planning(database):
    """A case that waits for the farrier's plan: its cast, its number, its revision."""
    with database.transaction() as session:
        cast = a_cast(session)
        number = a_case(session, cast)
        vet = case_for(session, cast.vet.id, number)
        typed_readings(session, vet)
        a_limit(session, vet)
        a_referral(session, vet)
        farrier = case_for(session, cast.farrier.id, number)
        acknowledge(session, farrier, Words(None, NOW.date()), NOW)
        revision = case_for(session, cast.farrier.id, number).revision
        session.flush()
        session.expunge_all()
    return cast, number, revision


def test_of_two_plans_on_one_revision_one_is_kept(database, planning):
    cast, number, revision = planning

    def save(place):
        plan = {**PLAN, "toe_trim_mm": 4.0 + place}
        command = SubmitPlan({"LF": plan}, "Why", "vet", None, NOW.date(), revision)
        with database.transaction() as session:
            access = case_for(session, cast.farrier.id, number)
            return submit_plan(session, access, command, RULEBOOK, NOW).plan.n

    answers = together(2, save)
    assert sorted(type(each).__name__ for each in answers) == ["OutOfDate", "int"]
    with database.reading() as session:
        assert session.scalars(select(PlanRow.n)).all() == [1]
        access = case_for(session, cast.vet.id, number)
        assert access.state.plan_n == 1
        assert list(chain_faults(session, access.case_id)) == []


def test_twenty_saves_to_twenty_cases_all_succeed(database):
    with database.transaction() as session:
        cast = a_cast(session)
        numbers = [a_case(session, cast) for _ in range(20)]
        person = cast.farrier.id
    seen = AddObservation("LF", "landing", "Toe first", NOW.date())

    def save(place):
        with database.transaction() as session:
            add_observation(session, case_for(session, person, numbers[place]), seen, NOW)
        return place

    assert together(20, save) == list(range(20))
    with database.reading() as session:
        assert session.scalar(select(func.count()).select_from(Entry)) == 40


def test_ten_observations_of_one_case_stand_in_one_chain(database, planning):
    cast, number, revision = planning
    seen = AddObservation("LF", "landing", "Toe first", NOW.date())

    def save(place):
        with database.transaction() as session:
            add_observation(session, case_for(session, cast.farrier.id, number), seen, NOW)
        return place

    assert together(10, save) == list(range(10))
    with database.reading() as session:
        access = case_for(session, cast.vet.id, number)
        assert access.revision == revision + 10
        assert list(chain_faults(session, access.case_id)) == []
