"""What a changed rulebook would say of plans there are: judged by both books, nothing kept."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.core.rules.finding import Finding
from referral.core.rules.rule import Rule
from referral.errors import Invalid
from referral.plans.judging import Judged, judge_subject
from referral.plans.queries import PlanView, Wanted, subject_of
from referral.plans.subject import Subject
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


Books = Callable[[Subject], tuple[Rulebook, Rulebook]]
"""The two books that a plan is judged by, with all that its organisation sets in them."""


def backtest_plans(
    session: Session, plans: Iterable[tuple[CaseAccess, PlanView]], books: Books
) -> Backtest:
    """Judge plans by two books each; neither book has other limits on other days.

    Plans are judged on the day they were last judged, with the limits, readings and films that
    are on their cases now, so that only the book makes a difference.
    """
    count, changes, unusable = 0, [], []
    for access, view in plans:
        count += 1
        plan = view.plan
        wanted = Wanted(view.limbs, None, plan.recheck_owner, plan.recheck_on)
        subject = subject_of(session, access, wanted)
        try:
            before, after = compared(subject, books(subject), view.judgement.judged_at.date())
        except Invalid as error:
            unusable.append(f"case {access.number}, plan {plan.n}: {error.message}")
            continue
        changes += _changes(access.number, plan.n, before, after)
    return Backtest(count, tuple(changes), tuple(unusable))


def compared(
    subject: Subject, books: tuple[Rulebook, Rulebook], day: date
) -> tuple[Judged, Judged]:
    """Return one subject judged on a day by either book as it is, whatever its organisation set.

    Raises
    ------
    Invalid
        If a plan is one that no foot could follow.
    """
    plain = replace(subject, overrides=())
    before, after = (judge_subject(plain, book, day) for book in books)
    return before, after


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
