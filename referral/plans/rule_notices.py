"""A rule that a practice changes after consent: vet and farrier are told on the day it begins.

A plan that is agreed and consented to is not judged again by a changed book. Where the change
would answer it otherwise, whoever agreed to it and whoever is to fit it must know.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Case
from referral.cases.queries import case_for, people_on
from referral.core.workflow import Role, Stage
from referral.notices.policy import RESPONSIBLE, RULE_CHANGED
from referral.notices.service import Happened, tell
from referral.plans.backtest import ABSENT, Change, backtest_plans, undated
from referral.plans.queries import PlanView, plan_of
from referral.rulebook.loader import Rulebook
from referral.rulebook.overrides import Override, effective_book, in_force
from referral.rules.queries import SetChange, cases_of_practice, set_changes_of
from referral.storage.db import Database
from referral.storage.jobs import Finish, Handler

QUIET = frozenset({"WITHIN", "NOT_APPLICABLE"})


def rule_teller(database: Database, book: Rulebook, now: Callable[[], datetime]) -> Handler:
    """Return how vets and farriers are told of a change of a rule that begins."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        organisation_id, change_id = UUID(payload["organisation"]), UUID(payload["change"])
        moment = now()
        with database.reading() as session:
            concerned = concerned_by(session, organisation_id, change_id, book, moment)

        def finish(session: Session) -> None:
            for case_id, (people, facts) in concerned.items():
                tell(session, people, Happened(case_id, RULE_CHANGED, None, facts), moment)

        return finish

    return Handler(prepare, lambda _payload: lambda _session: None)


def concerned_by(
    session: Session, organisation_id: UUID, change_id: UUID, book: Rulebook, now: datetime
) -> Mapping[UUID, tuple[frozenset[UUID], Mapping[str, Any]]]:
    """Return whom a change of a rule concerns, vets and farriers, and what it changes, by case.

    Nobody, where another change of the rule has taken its place by now.
    """
    changes = set_changes_of(session, organisation_id)
    mine = next(each.override for each in changes if each.change_id == change_id)
    if in_force([each.override for each in changes], now.date()).get(mine.rule) is not mine:
        return {}
    return {
        access.case_id: (frozenset(people), _facts(view, told))
        for access, view, people in _to_be_fitted(session, organisation_id, now)
        if (told := _told(session, access, view, _books(book, changes, view, now), mine))
    }


def _to_be_fitted(
    session: Session, organisation_id: UUID, now: datetime
) -> Iterator[tuple[CaseAccess, PlanView, Sequence[UUID]]]:
    """Yield the practice's cases whose plan waits to be fitted, with their vets and farriers."""
    for case in session.scalars(
        select(Case).where(Case.id.in_(cases_of_practice(session, organisation_id)))
    ):
        members = [member for member, _person, _organisation in people_on(session, case.id)]
        vet = next(each.person_id for each in members if each.role == Role.VET)
        access = case_for(session, vet, case.number, now)
        if access.state.stage is Stage.FITTING:
            people = [each.person_id for each in members if each.role in RESPONSIBLE]
            yield access, plan_of(session, case.id, access.state.plan_n), people


def _books(
    book: Rulebook, changes: Sequence[SetChange], view: PlanView, now: datetime
) -> tuple[Rulebook, Rulebook]:
    """Return the book with what was set when the plan was judged, and the one of today.

    Both are of today in all else, so that what is shipped makes no difference.
    """
    today, judged_at = now.date(), view.judgement.judged_at
    then = [
        each.override
        for each in changes
        if each.set_at <= judged_at and each.override.since <= judged_at.date()
    ]
    of_today = [each.override for each in changes]
    before, after = (effective_book(book, each, today) for each in (then, of_today))
    return undated(before, today), undated(after, today)


def _told(
    session: Session,
    access: CaseAccess,
    view: PlanView,
    books: tuple[Rulebook, Rulebook],
    changed: Override,
) -> tuple[Change, ...]:
    """Return the answers of the changed rule that are other than before, and worth a notice."""
    found = backtest_plans(session, [(access, view)], lambda _subject: books)
    return tuple(each for each in found.changes if each.rule == changed.rule and _tells(each))


def _facts(view: PlanView, told: Sequence[Change]) -> Mapping[str, Any]:
    """Return what a notice keeps: which rule, on which plan, and each answer before and now."""
    return {
        "plan_n": view.plan.n,
        "rule": told[0].rule,
        "title": told[0].title,
        "answers": [[each.limb, list(each.before), list(each.after)] for each in told],
    }


def _tells(change: Change) -> bool:
    """Say whether a changed answer is worth a notice: a rule newly asked and met is not."""
    return change.before != ABSENT or change.after[0] not in QUIET
