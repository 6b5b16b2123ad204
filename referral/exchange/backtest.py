"""A changed rulebook tried on every plan that an instance has."""

from collections.abc import Iterator
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Case
from referral.cases.queries import case_state
from referral.plans.backtest import Backtest, backtest_plans, undated
from referral.plans.queries import PlanView, plan_of, plans_of
from referral.plans.subject import Subject
from referral.rulebook.loader import Rulebook
from referral.rulebook.overrides import effective_book


def backtest(session: Session, now_used: Rulebook, proposed: Rulebook, today: date) -> Backtest:
    """Judge every stored plan by both books, as their newest limits are today.

    What the organisation of a case's vet has set stands in both.
    """

    def books(subject: Subject) -> tuple[Rulebook, Rulebook]:
        before, after = (
            undated(effective_book(book, subject.overrides, today), today)
            for book in (now_used, proposed)
        )
        return before, after

    return backtest_plans(session, _stored(session), books)


def _stored(session: Session) -> Iterator[tuple[CaseAccess, PlanView]]:
    for case in session.scalars(select(Case).order_by(Case.number)).all():
        state, revision = case_state(session, case.id)
        access = CaseAccess(
            case_id=case.id,
            number=case.number,
            horse_id=case.horse_id,
            jurisdiction=case.jurisdiction,
            zone=case.zone,
            actor_id=case.opened_by,
            roles=(),
            state=state,
            revision=revision,
        )
        for row in reversed(plans_of(session, case.id)):
            yield access, plan_of(session, case.id, row.n)
