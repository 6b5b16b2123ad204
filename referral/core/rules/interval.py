"""The longest interval that keeps every limit at the due date."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date

from referral.core.rules.finding import CaseLimit, Finding
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import judge
from referral.core.rules.rule import Limit, Rulebook, severity_rank

INTERVAL = "interval_weeks"
MOST_WEEKS = 12


def longest_interval_weeks(
    foresee: Callable[[int], Inputs],
    rulebook: Rulebook,
    limits: Sequence[CaseLimit],
    on: date,
) -> int | None:
    """Return the last whole week by which the foot must be reset.

    Parameters
    ----------
    foresee : callable
        Weeks to the inputs of a plan with that interval, readings at the due date included.
    rulebook, limits : Rulebook, sequence of CaseLimit
        What is judged; only what is about the due date or the interval counts.
    on : date
        The day whose limits count.

    Returns
    -------
    int or None
        The last week w of 1 to 12 such that in all weeks up to w every judged must or
        breach rule at the due date is WITHIN, and the rule on the interval is kept; 0 if
        there is none, ``None`` if one of those rules is CANNOT_TELL.

    Raises
    ------
    BadRule
        As for `referral.core.rules.judging.judge`.

    Notes
    -----
    Source: common practice, no source; it is the search that is ours.

    Examples
    --------
    >>> from referral.core.measure.readings import Measured, Profile, Reading
    >>> day = date(2026, 11, 25)
    >>> def drifting(weeks):
    ...     angle = Reading("palmar_angle_deg", 5 - weeks / 2, 0.0, "deg", "none", "predicted")
    ...     stages = {"at_due": Measured({angle.code: angle})}
    ...     return Inputs(Profile("LF", "adult_horse", day), stages)
    >>> least = CaseLimit("palmar_angle_deg", "at_due", "must", at_least=2)
    >>> longest_interval_weeks(drifting, Rulebook((), ""), [least], day)
    6
    """
    rules = tuple(rule for rule in rulebook.rules if _counts(rule.measure, rule.stage))
    asked = replace(rulebook, rules=rules)
    kept = [limit for limit in limits if _counts(limit.measure, limit.stage)]
    weeks = range(1, MOST_WEEKS + 1)
    by_week = [judge(foresee(week), asked, kept, on).findings for week in weeks]
    if any(finding.verdict == "CANNOT_TELL" for finding in _musts(by_week)):
        return None
    broken = (week for week, found in zip(weeks, by_week, strict=True) if _breaks(found))
    return next(broken, MOST_WEEKS + 1) - 1


def judges_due_date(rulebook: Rulebook, limits: Sequence[CaseLimit]) -> bool:
    """Return whether anything must hold of the foot at the due date at all.

    Examples
    --------
    >>> judges_due_date(Rulebook((), ""), [CaseLimit("dip_height_mm", "now", "must", at_most=9)])
    False
    """
    of_rules = {rule.stage for rule in rulebook.rules if any(map(_is_must_tier, rule.limits))}
    of_limits = {limit.stage for limit in limits if limit.strength == "must"}
    return "at_due" in of_rules | of_limits


def _is_must_tier(limit: Limit) -> bool:
    return severity_rank(limit.severity) >= severity_rank("breach")


def _counts(measure: str | None, stage: str) -> bool:
    return stage == "at_due" or measure == INTERVAL


def _musts(by_week: Sequence[Sequence[Finding]]) -> Iterator[Finding]:
    for findings in by_week:
        yield from (each for each in findings if _is_must(each))


def _is_must(finding: Finding) -> bool:
    is_late = finding.stage == "at_due" and finding.measure != INTERVAL
    return is_late and severity_rank(finding.severity) >= severity_rank("breach")


def _breaks(findings: Sequence[Finding]) -> bool:
    """Return whether a week breaks the interval rule, or a must at the due date is not WITHIN."""
    return any(
        finding.verdict == "OUTSIDE"
        if finding.measure == INTERVAL
        else _is_must(finding) and finding.verdict in ("OUTSIDE", "TOO_CLOSE")
        for finding in findings
    )
