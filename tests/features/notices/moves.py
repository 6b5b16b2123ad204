"""Moves that people are told of, and what is changed about the people, for tests of mail."""

from sqlalchemy import select, update

from referral.accounts.models import Person
from referral.cases.models import CaseMember
from referral.cases.queries import case_for
from referral.cases.remarks import RaiseFlag, raise_flag
from referral.cases.service import (
    SetProblem,
    set_problem,
)
from referral.inbox.service import Choose, choose
from referral.notices.models import Notice
from referral.notices.policy import MAIL_LOST, Wishes
from tests.factories import NOW, a_limit, a_referral, typed_readings


def refer(database, case, clock):
    """Send a referral: the farrier is told."""
    cast, number = case
    with database.transaction() as session:
        vet = case_for(session, cast.vet.id, number)
        set_problem(
            session, vet, SetProblem("LF", "under_run_heels", "confirmed", None, NOW.date()), NOW
        )
        typed_readings(session, vet)
        a_limit(session, vet)
        a_referral(session, vet, clock())


def flag(database, case, clock, who="owner"):
    cast, number = case
    with database.transaction() as session:
        access = case_for(session, getattr(cast, who).id, number)
        raise_flag(
            session, access, RaiseFlag("suspected_laminitis", "LF", None, NOW.date()), clock()
        )


def wish(database, person, clock, **wishes):
    with database.transaction() as session:
        choose(session, person.id, Choose(Wishes(**{"zone": "UTC", **wishes})), clock())


def rename(database, person, **values):
    with database.transaction() as session:
        session.execute(update(Person).where(Person.id == person.id).values(**values))


def leave(database, person):
    with database.transaction() as session:
        session.execute(
            update(CaseMember).where(CaseMember.person_id == person.id).values(until=NOW)
        )


def lost(database):
    with database.reading() as session:
        return set(session.scalars(select(Notice.person_id).where(Notice.kind == MAIL_LOST)))
