"""A proposed change of a practice's rules, tried on the practice's own plans."""

from collections.abc import Iterator
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.queries import case_for, cases_of
from referral.plans.backtest import Backtest, backtest_plans, undated
from referral.plans.queries import PlanView, plan_of, plans_of
from referral.plans.subject import Subject
from referral.rulebook.loader import Rulebook
from referral.rulebook.overrides import effective_book
from referral.rules.asking import Asked
from referral.rules.queries import practice_of_case
from referral.rules.words import ExampleSaid, example_said

MOST_PLANS = 40
"""Judging takes time; the newest cases are tried first."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What a proposal would change: findings on plans, and examples that answer otherwise."""

    found: Backtest
    is_cut: bool
    examples: tuple[tuple[ExampleSaid, tuple[str, str], tuple[str, str]], ...]
    looser: bool


def trial_of(session: Session, person_id: UUID, asked: Asked, book: Rulebook) -> Trial:
    """Return what would change on the practice's plans that this person may see; nothing is kept.

    Every plan is judged by the practice's book as it will be on the day of the change, without
    it and with it.
    """
    override = asked.proposal.override
    before, after = (
        undated(effective_book(book, each, override.since), override.since)
        for each in (asked.before, asked.after)
    )

    def books(_subject: Subject) -> tuple[Rulebook, Rulebook]:
        return before, after

    plans = list(_plans(session, person_id, asked.practice.organisation_id))
    changed = next((each.change for each in after.rules if each.id == override.rule), None)
    return Trial(
        backtest_plans(session, plans[:MOST_PLANS], books),
        len(plans) > MOST_PLANS,
        tuple(
            (example_said(each.example), each.before, each.after)
            for each in asked.proposal.tried
            if each.is_changed
        ),
        changed is not None and changed.is_looser,
    )


def _plans(
    session: Session, person_id: UUID, organisation_id: UUID
) -> Iterator[tuple[CaseAccess, PlanView]]:
    """Yield the plans on the practice's cases that this person has a part in, newest case first."""
    for case in cases_of(session, person_id):
        if practice_of_case(session, case.id) != organisation_id:
            continue
        access = case_for(session, person_id, case.number)
        for row in plans_of(session, case.id):
            yield access, plan_of(session, case.id, row.n)
