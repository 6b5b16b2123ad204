"""What an organisation sets in the place of a rule, and the book that follows from it on a day."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from operator import is_

from referral.core.rules.claims import limit_bounds
from referral.core.rules.guard import TOLERANCE, Bound
from referral.core.rules.rule import Limit, Rule, Rulebook, RuleChange, severity_rank
from referral.rulebook.loader import content_hash

LIMITS, OFF, SHIPPED, OWN = "limits", "off", "shipped", "own"
STANCES = (LIMITS, OFF, SHIPPED, OWN)
"""Other limits, not asked at all, as shipped again, or a rule of their own."""


@dataclass(frozen=True, slots=True)
class Override:
    """How an organisation wants one rule, from a day on, with the reason.

    ``limits`` are there for ``limits`` alone, in the place of the shipped ones and in their
    order, with a tier of the organisation's own after them; ``own`` for a rule of their own alone.
    """

    rule: str
    stance: str
    by: str
    since: date
    reason: str
    limits: tuple[Limit, ...] = ()
    own: Rule | None = None


def effective_book(book: Rulebook, overrides: Sequence[Override], on: date) -> Rulebook:
    """Return the book that judges on a day: the shipped one with what an organisation set.

    Parameters
    ----------
    book : Rulebook
        What is shipped, or an instance has.
    overrides : sequence of Override
        All of one organisation's, in the order in which they were written. Of those on one
        rule that have begun, the one that began last counts; of one day, the one written last.
    on : date
        The day. Limits that begin after it are left out, so that the hash changes on the day
        that they begin.

    Returns
    -------
    Rulebook
        The same book if nothing is changed; else with the SHA-256 of its own content. A rule
        with a red flag in it stays as it is, whatever is set.

    Examples
    --------
    >>> tier = Limit(date(2020, 1, 1), "breach", "textbook", "-", "mm", at_least=10.0)
    >>> rule = Rule("X01", "Sole", "Leave more.", "threshold", "now", (tier,), "sole_depth_tip_mm")
    >>> own = replace(tier, since=date(2026, 12, 1), at_least=8.0)
    >>> set_ = Override("X01", "limits", "Hill Practice", date(2026, 12, 1), "new", (own,))
    >>> book = Rulebook((rule,), "-")
    >>> before, after = (effective_book(book, [set_], date(2026, m, 30)) for m in (11, 12))
    >>> before is book, after.rules[0].limits[0].at_least, after.rules[0].change.is_looser
    (True, 8.0, True)
    """
    standing = in_force(overrides, on)
    known = {rule.id for rule in book.rules}
    rules = [_changed(_begun(rule, on), standing.get(rule.id)) for rule in book.rules]
    rules += [
        replace(each.own, origin="practice", change=RuleChange(each.by, each.since, each.reason))
        for each in standing.values()
        if each.own is not None and each.rule not in known
    ]
    if len(rules) == len(book.rules) and all(map(is_, rules, book.rules)):
        return book
    ordered = tuple(sorted(rules, key=lambda rule: rule.id))
    return Rulebook(ordered, content_hash(ordered))


def in_force(overrides: Iterable[Override], on: date) -> dict[str, Override]:
    """Return what has begun by a day, the newest of each rule.

    Examples
    --------
    >>> day = date(2026, 12, 1)
    >>> off = Override("X01", "off", "Hill Practice", day, "a")
    >>> set_ = [off, replace(off, stance="shipped", reason="b")]
    >>> in_force(set_, day)["X01"].reason, in_force(set_, date(2026, 11, 30))
    ('b', {})
    """
    begun = sorted((each for each in overrides if each.since <= on), key=lambda each: each.since)
    return {each.rule: each for each in begun}


def is_fixed(rule: Rule) -> bool:
    """Return whether nobody may set the rule otherwise: a red flag stands in it.

    Examples
    --------
    >>> flag = Limit(date(2020, 1, 1), "red_flag", "textbook", "-")
    >>> is_fixed(Rule("X01", "Flag", "Stop.", "red_flag", "now", (flag,), of="red_flags"))
    True
    """
    return any(limit.severity == "red_flag" for limit in rule.limits)


def newest_limits(rule: Rule, on: date) -> tuple[Limit, ...]:
    """Return the limits of the newest date not after a day, for all feet; empty before the first.

    Examples
    --------
    >>> old = Limit(date(2020, 1, 1), "note", "textbook", "-", "mm", at_least=1.0)
    >>> rule = Rule("X01", "Sole", "-", "threshold", "now", (old, replace(old, at_least=2.0)))
    >>> [each.at_least for each in newest_limits(rule, date(2026, 1, 1))]
    [1.0, 2.0]
    """
    days = [limit.since for limit in rule.limits if limit.since <= on]
    return tuple(limit for limit in rule.limits if days and limit.since == max(days))


def is_looser(before: Sequence[Limit], after: Sequence[Limit]) -> bool:
    """Return whether something passes ``after`` that would not, or would with more said, before.

    Every tier of before must have one now that says as much, for the same feet, and lets no more
    pass; one without a number must have it in its own place. Tiers beside those loosen nothing.

    Examples
    --------
    >>> ten = Limit(date(2020, 1, 1), "breach", "textbook", "-", "mm", at_least=10.0)
    >>> eight, note = replace(ten, at_least=8.0), replace(ten, severity="note")
    >>> is_looser([ten], [eight]), is_looser([eight], [ten]), is_looser([ten], [note])
    (True, False, True)
    """
    return any(
        not any(_is_as_strict(old, new) for new in _in_its_place(place, old, after))
        for place, old in enumerate(before)
    )


def _in_its_place(place: int, old: Limit, after: Sequence[Limit]) -> Sequence[Limit]:
    if not limit_bounds(old):
        return after[place : place + 1]
    return [new for new in after if new.only in (None, old.only)]


def _is_as_strict(old: Limit, new: Limit) -> bool:
    says_as_much = severity_rank(new.severity) >= severity_rank(old.severity)
    return says_as_much and not _has_looser_bound(limit_bounds(old), limit_bounds(new))


def _has_looser_bound(before: Sequence[Bound], after: Sequence[Bound]) -> bool:
    now = {bound.side: bound for bound in after}
    return any(bound.side not in now or _passes_more(bound, now[bound.side]) for bound in before)


def _passes_more(old: Bound, new: Bound) -> bool:
    gap = old.limit - new.limit if old.side == "low" else new.limit - old.limit
    return gap > TOLERANCE or (abs(gap) <= TOLERANCE and old.strict and not new.strict)


def _begun(rule: Rule, on: date) -> Rule:
    """Return the rule without limits that begin after a day; itself if there are none."""
    begun = tuple(limit for limit in rule.limits if limit.since <= on)
    return rule if len(begun) == len(rule.limits) else replace(rule, limits=begun)


def _changed(rule: Rule, override: Override | None) -> Rule:
    if override is None or override.stance not in (LIMITS, OFF) or is_fixed(rule):
        return rule
    before = newest_limits(rule, override.since)
    if not before:
        return rule
    is_off = override.stance == OFF
    looser = is_off or is_looser(before, override.limits)
    change = RuleChange(override.by, override.since, override.reason, before, is_off, looser)
    return replace(rule, limits=rule.limits if is_off else override.limits, change=change)
