"""What findings say of a rule that an organisation set, or set otherwise than it was shipped."""

from collections.abc import Iterable
from dataclasses import replace

from referral.core.rules.claims import limit_bounds
from referral.core.rules.finding import Finding
from referral.core.rules.rule import ORIGINS, Limit, Rule, RuleChange
from referral.core.rules.wording import bound_words

PRACTICE = ORIGINS[1]


def with_changes(findings: Iterable[Finding], rules: Iterable[Rule]) -> tuple[Finding, ...]:
    """Return the findings; one of a changed rule says what was shipped, and who set what and why.

    Parameters
    ----------
    findings : iterable of Finding
        In any order, which is kept.
    rules : iterable of Rule
        The rules that judged; one without ``change`` leaves its findings as they are.

    Returns
    -------
    tuple of Finding
        ``looser_than_shipped`` is set where the change is a looser one, whatever the verdict.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.rules.finding import blank_finding
    >>> change = RuleChange("Hill Practice", date(2026, 12, 1), "new knowledge")
    >>> rule = Rule("H01", "Sole", "Leave more.", "threshold", "now", (), change=change)
    >>> with_changes([blank_finding("H01", "Sole", "now", "practice")], [rule])[0].says
    'A rule of Hill Practice since 2026-12-01, because: new knowledge.'
    """
    changes = {rule.id: rule.change for rule in rules if rule.change is not None}
    return tuple(
        _with_change(finding, changes[finding.rule]) if finding.rule in changes else finding
        for finding in findings
    )


def change_words(change: RuleChange) -> str:
    """Return the sentence that says who changed a rule, what was shipped, since when and why.

    Examples
    --------
    >>> from datetime import date
    >>> tier = Limit(date(2020, 1, 1), "breach", "textbook", "-", "mm", at_least=10)
    >>> change_words(RuleChange("Hill Practice", date(2026, 12, 1), "so", (tier,)))
    'Shipped limit: at least 10 mm: breach; changed by Hill Practice since 2026-12-01, because: so.'
    """
    given = f"since {change.since.isoformat()}, because: {change.reason.rstrip('. ')}."
    if not change.shipped:
        return f"A rule of {change.by} {given}"
    shipped = ", ".join(dict.fromkeys(_limit_words(limit) for limit in change.shipped))
    done = "put off" if change.is_off else "loosened" if change.is_looser else "changed"
    return f"Shipped limit: {shipped}; {done} by {change.by} {given}"


def _limit_words(limit: Limit) -> str:
    """Return a limit and its severity in words; the severity alone where there is no number."""
    bounds = " and ".join(bound_words(bound) for bound in limit_bounds(limit))
    return f"{bounds}: {limit.severity}" if bounds else limit.severity


def _with_change(finding: Finding, change: RuleChange) -> Finding:
    return replace(
        finding,
        limit_from=PRACTICE,
        says=" ".join(part for part in (finding.says, change_words(change)) if part),
        looser_than_shipped=finding.looser_than_shipped or change.is_looser,
    )
