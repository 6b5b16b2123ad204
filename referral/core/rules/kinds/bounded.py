"""Make the findings of a number that belongs to a rule alone, and to no limit of the vet's."""

from collections.abc import Mapping
from dataclasses import replace

from referral.core.rules.claims import limit_bounds
from referral.core.rules.finding import Finding
from referral.core.rules.guard import Bound
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import Quantity
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule
from referral.core.rules.threshold import REASONS, Answer, answers
from referral.core.rules.wording import limit_sentence, with_advice


def bounded_findings(
    rule: Rule,
    limits: tuple[Limit, ...],
    quantity: Quantity,
    reasons: Mapping[str, Reason] = REASONS,
    bounds: tuple[Bound, ...] = (),
) -> list[Finding]:
    """Return how a number stands to a rule's own tiers.

    Parameters
    ----------
    rule, limits : Rule, tuple of Limit
        The rule, and its limits in force, with bounds.
    quantity : Quantity
        The number with its u, or why there is none.
    reasons : mapping, optional
        Reason by verdict, where those of a plain limit do not fit.
    bounds : tuple of Bound, optional
        Bounds that the kind of rule has by itself; those of the limits if left out.

    Returns
    -------
    list of Finding
        In the quantity's unit; CANNOT_TELL where it has a reason why it cannot be judged.

    Examples
    --------
    >>> from datetime import date
    >>> limit = Limit(date(2026, 1, 1), "note", "textbook", "-", "weeks", at_most=6)
    >>> rule = Rule("X03", "Film", "Film it.", "presence", "now", (limit,), of="recent_film")
    >>> bounded_findings(rule, (limit,), Quantity(8.0, 0.0, "weeks"))[0].verdict
    'OUTSIDE'
    """
    if quantity.reason is not None or quantity.value is None:
        reason = quantity.reason or Reason.MISSING_READING
        return [outcome(rule, limits[0], "CANNOT_TELL", reason, quantity.detail)]
    stated = tuple(bound for limit in limits for bound in limit_bounds(limit))
    found = answers(quantity.value, quantity.u or 0.0, bounds or stated)
    return [_finding(rule, limits[0], quantity, each, reasons) for each in found]


def _finding(
    rule: Rule, limit: Limit, quantity: Quantity, answer: Answer, reasons: Mapping[str, Reason]
) -> Finding:
    verdict, bound = answer.verdict, answer.bound
    sentence = limit_sentence(rule.title, verdict, quantity, bound, answer.p_outside)
    advice = None if verdict == "WITHIN" else bound.says or rule.says
    return replace(
        outcome(rule, limit, verdict, reasons[verdict]),
        severity=bound.severity,
        value=quantity.value,
        u=quantity.u,
        limit=bound.limit,
        unit=bound.unit,
        margin=answer.margin,
        p_outside=answer.p_outside,
        evidence=bound.evidence,
        source=bound.source,
        says=with_advice(sentence, advice, bound.evidence),
    )
