"""What a changed rulebook would say of every plan an instance has: both judged, nothing kept."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Case
from referral.cases.queries import case_state
from referral.core.rules.finding import Finding
from referral.core.rules.rule import Rule
from referral.errors import Invalid
from referral.plans.judging import Judged, judge_subject
from referral.plans.queries import PlanView, Wanted, plan_of, plans_of, subject_of
from referral.rulebook.loader import Rulebook

ABSENT = ("not asked", "note")
FIRST_DAY = date.min
Key = tuple[str, str, str]
Answer = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Change:
    """One rule's answer on one limb of one plan, before and after; answers with severities."""

    case: int
    plan: int
    limb: str
    rule: str
    title: str
    stage: str
    before: Answer
    after: Answer


@dataclass(frozen=True, slots=True)
class Backtest:
    """Every change, how many plans were judged and changed, and those no book can judge."""

    plans: int
    changes: tuple[Change, ...]
    unusable: tuple[str, ...]

    @property
    def plans_changed(self) -> int:
        """How many plans have another answer."""
        return len({(each.case, each.plan) for each in self.changes})

    @property
    def counts(self) -> tuple[tuple[Answer, Answer, int], ...]:
        """How often each answer became another, the most frequent first."""
        found = Counter((each.before, each.after) for each in self.changes)
        return tuple((*pair, count) for pair, count in found.most_common())


def backtest(session: Session, now_used: Rulebook, proposed: Rulebook, today: date) -> Backtest:
    """Judge every stored plan by both books, as their newest limits are today.

    Plans are judged on the day they were last judged, with the limits, readings and films that
    are on their cases now, so that only the book makes a difference.
    """
    books = (undated(now_used, today), undated(proposed, today))
    plans, changes, unusable = 0, [], []
    for access, view in _stored(session):
        plans += 1
        day = view.judgement.judged_at.date()
        plan = view.plan
        wanted = Wanted(view.limbs, None, plan.recheck_owner, plan.recheck_on)
        subject = subject_of(session, access, wanted)
        try:
            before, after = (judge_subject(subject, book, day) for book in books)
        except Invalid as error:
            unusable.append(f"case {access.number}, plan {plan.n}: {error.message}")
            continue
        changes += _changes(access.number, plan.n, before, after)
    return Backtest(plans, tuple(changes), tuple(unusable))


def undated(book: Rulebook, today: date) -> Rulebook:
    """Return a book whose limits in force today hold on every day; a rule not yet in force is out.

    The plans of the past are then judged by what is written now.
    """
    rules = (_newest(rule, today) for rule in book.rules)
    return replace(book, rules=tuple(rule for rule in rules if rule.limits))


def _newest(rule: Rule, today: date) -> Rule:
    days = [limit.since for limit in rule.limits if limit.since <= today]
    newest = max(days, default=FIRST_DAY)
    limits = (replace(each, since=FIRST_DAY) for each in rule.limits if each.since == newest)
    return replace(rule, limits=tuple(limits))


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


def _changes(case: int, plan: int, before: Judged, after: Judged) -> list[Change]:
    old, new = _answers(before), _answers(after)
    found = []
    for key in sorted({*old, *new}):
        said = old.get(key), new.get(key)
        answers = tuple((each.verdict, each.severity) if each else ABSENT for each in said)
        if answers[0] != answers[1]:
            title = next(each.title for each in said if each)
            found.append(Change(case, plan, key[0], key[1], title, key[2], *answers))
    return found


def _answers(judged: Judged) -> Mapping[Key, Finding]:
    """Return each rule's first, and so worst, finding."""
    found: dict[Key, Finding] = {}
    for limb, finding in judged.findings():
        found.setdefault((limb, finding.rule, finding.stage), finding)
    return found
