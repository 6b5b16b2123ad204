"""Judge a value against the bounds of one claim."""

import math
from dataclasses import dataclass, replace

from referral.core.rules.claims import Claim, Settled
from referral.core.rules.derived import quantity_of
from referral.core.rules.finding import Finding, blank_finding
from referral.core.rules.guard import Bound, decide, margin_of, p_beyond
from referral.core.rules.inputs import Inputs
from referral.core.rules.quantities import Quantity
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import severity_rank
from referral.core.rules.wording import (
    bound_words,
    cannot_tell_sentence,
    limit_sentence,
    with_advice,
)

REASONS = {
    "WITHIN": Reason.INSIDE,
    "OUTSIDE": Reason.BEYOND,
    "TOO_CLOSE": Reason.GUARD_BAND,
}
OUT_OF_SCOPE = frozenset({Reason.NO_CLIP, Reason.NO_DEVICE})
"""Why a number is not there that the foot need not have: the limit is then not for it."""

REPLACED = {
    "case": Reason.REPLACED_BY_CASE_LIMIT,
    "practice": Reason.REPLACED_BY_PRACTICE_LIMIT,
}


@dataclass(frozen=True, slots=True)
class Answer:
    """One bound's verdict, its margin (negative outside) and the chance of being outside."""

    bound: Bound
    verdict: str
    margin: float
    p_outside: float


def answers(value: float, u: float, bounds: tuple[Bound, ...]) -> tuple[Answer, ...]:
    """Return the answer of a set of tiers: the worst broken one, or the nearest.

    Parameters
    ----------
    value, u : float
        The value and its standard uncertainty in the bounds' unit.
    bounds : tuple of Bound
        At least one.

    Returns
    -------
    tuple of Answer
        One answer; a second one if a softer tier is broken and it is too close to
        call whether a more severe one is, since the soft answer would hide it.

    Examples
    --------
    >>> tiers = (Bound("low", 15.0, "caution"), Bound("low", 10.0, "breach"))
    >>> [(a.verdict, a.bound.severity) for a in answers(9.0, 0.0, tiers)]
    [('OUTSIDE', 'breach')]
    >>> [(a.verdict, a.bound.severity) for a in answers(10.5, 0.7, tiers)]
    [('OUTSIDE', 'caution'), ('TOO_CLOSE', 'breach')]
    """
    judged = [_answer(value, u, bound, bounds) for bound in bounds]
    close = [answer for answer in judged if answer.verdict == "TOO_CLOSE"]
    broken = [answer for answer in judged if answer.verdict == "OUTSIDE"]
    if broken:
        worst = max(broken, key=lambda answer: (_rank(answer), answer.margin))
        harsher = [answer for answer in close if _rank(answer) > _rank(worst)]
        return (worst, *_harshest(harsher))
    if close:
        return _harshest(close)
    return (min(judged, key=lambda answer: (answer.margin, -_rank(answer))),)


def judge_claim(settled: Settled, inputs: Inputs) -> list[Finding]:
    """Return the findings of one claim: its answer, then what was replaced in it.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan
    >>> from referral.core.rules.claims import settle
    >>> from referral.core.rules.claims import case_claim
    >>> from referral.core.rules.finding import CaseLimit
    >>> claim = case_claim(0, CaseLimit("heel_trim_mm", "after_fit", "must", at_most=4))
    >>> foot = Inputs(Profile("LF", "adult_horse", date(2026, 1, 1)), {}, Plan(heel_trim_mm=5))
    >>> judge_claim(settle([claim])[0], foot)[0].verdict
    'OUTSIDE'
    """
    claim = settled.claim
    quantity = claimed_quantity(claim, inputs)
    findings = [_replaced_finding(settled, quantity)] if settled.replaced else []
    if not settled.kept:
        return findings
    if quantity.reason is not None or quantity.value is None or quantity.u is None:
        return [_unjudged(settled, quantity), *findings]
    found = answers(quantity.value, quantity.u, settled.kept)
    return [*(_finding(settled, quantity, answer) for answer in found), *findings]


def claimed_quantity(claim: Claim, inputs: Inputs) -> Quantity:
    """Return what a claim is about, with the reason if it cannot be judged.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> bounds = (Bound("low", 0.0, "note", unit="mm"),)
    >>> claim = Claim("X01", "Trim", "heel_trim_mm", "after_fit", "case", bounds)
    >>> foot = Inputs(Profile("LF", "adult_horse", date(2026, 1, 1)), {})
    >>> claimed_quantity(claim, foot).reason.value
    'missing_fact'
    """
    quantity = quantity_of(inputs, claim.measure, claim.stage)
    units = {bound.unit for bound in claim.bounds}
    if quantity.reason is None and units != {quantity.unit}:
        return Quantity(quantity.value, quantity.u, quantity.unit, Reason.UNIT_MISMATCH)
    return quantity


def _rank(answer: Answer) -> int:
    return severity_rank(answer.bound.severity)


def _harshest(close: list[Answer]) -> tuple[Answer, ...]:
    ordered = sorted(close, key=lambda answer: (-_rank(answer), abs(answer.margin)))
    return tuple(ordered[:1])


def _answer(value: float, u: float, bound: Bound, bounds: tuple[Bound, ...]) -> Answer:
    """Judge one bound; a bound of the same severity on the other side adds its tail."""
    facing = [
        p_beyond(value, u, other)
        for other in bounds
        if other.side != bound.side and other.severity == bound.severity
    ]
    outside = min(1.0, p_beyond(value, u, bound) + max(facing, default=0.0))
    return Answer(bound, decide(value, u, bound), margin_of(value, bound), outside)


def _finding(settled: Settled, quantity: Quantity, answer: Answer) -> Finding:
    bound, verdict = answer.bound, answer.verdict
    title = settled.claim.title
    sentence = limit_sentence(title, verdict, quantity, bound, answer.p_outside)
    advice = None if verdict == "WITHIN" else bound.says or settled.claim.says
    return replace(
        _bounded(settled, quantity, bound),
        verdict=verdict,
        margin=answer.margin,
        p_outside=answer.p_outside,
        reason=REASONS[verdict].value,
        says=with_advice(sentence, _joined(advice, _looser_words(settled)), bound.evidence),
    )


def _unjudged(settled: Settled, quantity: Quantity) -> Finding:
    bound = max(settled.kept, key=lambda bound: severity_rank(bound.severity))
    reason = quantity.reason or Reason.MISSING_READING
    if reason in OUT_OF_SCOPE:
        return replace(
            _bounded(settled, quantity, bound),
            reason=reason.value,
            says=f"{settled.claim.title}: not judged, {reason.sentence}.",
        )
    sentence = cannot_tell_sentence(settled.claim.title, reason, quantity.detail)
    return replace(
        _bounded(settled, quantity, bound),
        verdict="CANNOT_TELL",
        reason=reason.value,
        says=with_advice(sentence, _looser_words(settled), bound.evidence),
    )


def _replaced_finding(settled: Settled, quantity: Quantity) -> Finding:
    """Return the note that keeps a replaced limit in sight."""
    bound, by = settled.replaced[0]
    reason = REPLACED[by.origin]
    limits = ", ".join(f"{bound_words(old)}: {old.severity}" for old, _ in settled.replaced)
    return replace(
        _bounded(settled, quantity, bound),
        severity="note",
        reason=reason.value,
        says=f"{settled.claim.title}: {reason.sentence} ({limits}).",
        folded_under=by.rule,
    )


def _bounded(settled: Settled, quantity: Quantity, bound: Bound) -> Finding:
    claim = settled.claim
    known = quantity.value is not None and math.isfinite(quantity.value)
    return replace(
        blank_finding(claim.rule, claim.title, claim.stage, claim.origin),
        measure=claim.measure,
        severity=bound.severity,
        value=quantity.value if known else None,
        u=quantity.u if known and math.isfinite(quantity.u or 0.0) else None,
        limit=bound.limit,
        unit=bound.unit,
        evidence=bound.evidence,
        source=bound.source,
        limit_since=bound.since.isoformat() if bound.since else None,
        looser_than_shipped=bool(settled.looser_than),
    )


def _looser_words(settled: Settled) -> str | None:
    if not settled.looser_than:
        return None
    shipped = ", ".join(f"{bound_words(bound)}: {bound.severity}" for bound in settled.looser_than)
    given = (
        f"Reason: {settled.claim.reason.rstrip('.')}."
        if settled.claim.reason
        else "No reason is given."
    )
    return f"It is looser than the shipped limit ({shipped}). {given}"


def _joined(*parts: str | None) -> str | None:
    return " ".join(part for part in parts if part) or None
