"""Make the finding of a rule that is not a threshold."""

from dataclasses import replace

from referral.core.rules.finding import Finding, blank_finding
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule
from referral.core.rules.wording import cannot_tell_sentence, with_advice


def outcome(rule: Rule, limit: Limit, verdict: str, reason: Reason, detail: str = "") -> Finding:
    """Return a rule's finding with the severity, evidence and source of its limit.

    Parameters
    ----------
    rule, limit : Rule, Limit
        The rule, and the limit of it that is in force.
    verdict, reason : str, Reason
        One of the five verdicts, and why.
    detail : str
        What was seen, for the sentence; empty if the reason says it all.

    Returns
    -------
    Finding
        Without numbers; the advice is in the sentence unless all is well.

    Examples
    --------
    >>> from datetime import date
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-")
    >>> rule = Rule("X02", "Recheck", "Name an owner.", "presence", "now", (limit,), of="recheck")
    >>> outcome(rule, limit, "OUTSIDE", Reason.INCOMPLETE, "no date").says
    'Recheck: a part of it is missing (no date). Name an owner.'
    """
    more = f" ({detail})" if detail else ""
    sentence = f"{rule.title}: {reason.sentence}{more}."
    if verdict == "CANNOT_TELL":
        sentence = cannot_tell_sentence(rule.title, reason, detail)
    advice = limit.says or rule.says if verdict in ("OUTSIDE", "CANNOT_TELL") else None
    return replace(
        blank_finding(rule.id, rule.title, rule.stage, rule.origin),
        verdict=verdict,
        severity=limit.severity,
        evidence=limit.evidence,
        source=limit.source,
        reason=reason.value,
        says=with_advice(sentence, advice, limit.evidence),
        limit_since=limit.since.isoformat(),
    )
