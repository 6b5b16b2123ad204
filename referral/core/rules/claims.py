"""What claims a measure at a stage: rules and case limits as bounds, and who gives way.

A case limit takes the place of practice and shipped bounds, a practice bound that
of shipped ones, on the same measure, stage and side. It never takes the place of a
more severe bound (a ``should`` leaves a breach standing) nor of a red flag.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from referral.core.errors import BadRule
from referral.core.measure.registry import MEASURES
from referral.core.rules.finding import CaseLimit
from referral.core.rules.guard import TOLERANCE, Bound
from referral.core.rules.rule import ORIGINS, Limit, Rule, severity_rank
from referral.core.units import unit_of

SIDES = (
    ("at_least", "low", False),
    ("more_than", "low", True),
    ("at_most", "high", False),
    ("less_than", "high", True),
)
SHIPPED = ORIGINS[0]
STRENGTHS = {"must": "breach", "should": "caution"}


@dataclass(frozen=True, slots=True)
class Claim:
    """One rule's or case limit's bounds on one measure at one stage.

    ``shipped`` are the bounds that were shipped with the rule, where an organisation set others.
    """

    rule: str
    title: str
    measure: str
    stage: str
    origin: str
    bounds: tuple[Bound, ...]
    says: str | None = None
    reason: str | None = None
    shipped: tuple[Bound, ...] = ()


@dataclass(frozen=True, slots=True)
class Settled:
    """A claim after precedence: what it keeps, what is replaced and by whom."""

    claim: Claim
    kept: tuple[Bound, ...]
    replaced: tuple[tuple[Bound, Claim], ...]
    looser_than: tuple[Bound, ...]


def rule_claim(rule: Rule, limits: Iterable[Limit]) -> Claim:
    """Return a threshold rule's limits in force as a claim.

    Raises
    ------
    ValueError
        If the rule has no measure, so that it is not a threshold.

    Examples
    --------
    >>> from datetime import date
    >>> tier = Limit(date(2026, 1, 1), "caution", "common practice", "-", "mm", at_least=15)
    >>> rule = Rule("X01", "Sole", "Leave more.", "threshold", "now", (tier,), "sole_depth_tip_mm")
    >>> [(bound.side, bound.limit) for bound in rule_claim(rule, rule.limits).bounds]
    [('low', 15)]
    """
    if rule.measure is None:
        raise ValueError(f"Rule {rule.id} has no measure.")
    tiers = tuple(limits)
    return Claim(
        rule.id,
        rule.title,
        rule.measure,
        rule.stage,
        rule.origin,
        _all_bounds(tiers),
        rule.says,
        rule.change.reason if rule.change else None,
        _shipped_bounds(rule, tiers),
    )


def _all_bounds(limits: Iterable[Limit]) -> tuple[Bound, ...]:
    return tuple(bound for limit in limits for bound in limit_bounds(limit))


def _shipped_bounds(rule: Rule, tiers: Sequence[Limit]) -> tuple[Bound, ...]:
    """Return the bounds as shipped, of the groups of feet that these tiers are for."""
    if rule.change is None:
        return _all_bounds(tiers) if rule.origin == SHIPPED else ()
    groups = {tier.only for tier in tiers}
    return _all_bounds(limit for limit in rule.change.shipped if limit.only in groups)


def case_claim(index: int, limit: CaseLimit) -> Claim:
    """Return the vet's limit as a claim; its rule is ``case:<index>``.

    Raises
    ------
    BadRule
        If the limit has no bound, or its strength is neither ``must`` nor ``should``.

    Examples
    --------
    >>> case_claim(0, CaseLimit("palmar_angle_deg", "now", "must", at_least=3)).bounds[0].severity
    'breach'
    """
    sides = (("low", limit.at_least), ("high", limit.at_most))
    unit = limit.unit or unit_of(limit.measure)
    if limit.strength not in STRENGTHS or sides == (("low", None), ("high", None)):
        raise BadRule(
            "A limit needs at_least or at_most, and is a must or a should.", at=f"limits.{index}"
        )
    severity = STRENGTHS[limit.strength]
    bounds = tuple(
        Bound(side, number, severity, unit=unit) for side, number in sides if number is not None
    )
    known = MEASURES.get(limit.measure)
    name = known.name.lower() if known else limit.measure.rsplit("_", 1)[0].replace("_", " ")
    title = f"The vet's limit on {name}, {limit.stage.replace('_', ' ')}"
    return Claim(
        f"case:{index}", title, limit.measure, limit.stage, "case", bounds, reason=limit.reason
    )


def limit_bounds(limit: Limit) -> tuple[Bound, ...]:
    """Return a dated limit as one bound a side.

    Examples
    --------
    >>> from datetime import date
    >>> both = Limit(date(2026, 1, 1), "note", "textbook", "-", "deg", at_least=-3, at_most=3)
    >>> [bound.side for bound in limit_bounds(both)]
    ['low', 'high']
    """
    return tuple(
        Bound(
            side,
            getattr(limit, key),
            limit.severity,
            strict,
            limit.unit,
            limit.since,
            limit.evidence,
            limit.source,
            limit.says,
        )
        for key, side, strict in SIDES
        if getattr(limit, key) is not None
    )


def settle(claims: Sequence[Claim]) -> tuple[Settled, ...]:
    """Return every claim with what it keeps and what a higher one replaces.

    Examples
    --------
    >>> low = Bound("low", 15.0, "caution"), Bound("low", 10.0, "breach")
    >>> shipped = Claim("X01", "Sole", "sole_depth_tip_mm", "after_fit", "shipped", low)
    >>> mine = case_claim(0, CaseLimit("sole_depth_tip_mm", "after_fit", "should", at_least=12))
    >>> [bound.limit for bound in settle((shipped, mine))[0].kept]
    [10.0]
    """
    return tuple(_settle_one(claim, claims) for claim in claims)


def _settle_one(claim: Claim, claims: Sequence[Claim]) -> Settled:
    higher = [other for other in claims if _outranks(other, claim)]
    higher.sort(key=lambda other: ORIGINS.index(other.origin), reverse=True)
    kept, replaced = [], []
    for bound in claim.bounds:
        by = next((other for other in higher if _replaces(other, bound)), None)
        if by is None:
            kept.append(bound)
        else:
            replaced.append((bound, by))
    return Settled(claim, tuple(kept), tuple(replaced), _looser_than(claim, claims))


def _outranks(other: Claim, claim: Claim) -> bool:
    return (other.measure, other.stage) == (claim.measure, claim.stage) and ORIGINS.index(
        other.origin
    ) > ORIGINS.index(claim.origin)


def _replaces(other: Claim, bound: Bound) -> bool:
    return bound.severity != "red_flag" and any(
        mine.side == bound.side and severity_rank(mine.severity) >= severity_rank(bound.severity)
        for mine in other.bounds
    )


def _looser_than(claim: Claim, claims: Sequence[Claim]) -> tuple[Bound, ...]:
    """Return the shipped bounds that this claim replaces and that are stricter than it."""
    return tuple(
        bound
        for other in claims
        if _outranks(claim, other)
        for bound in other.shipped
        if _replaces(claim, bound)
        and all(_is_looser(mine, bound) for mine in claim.bounds if mine.side == bound.side)
    )


def _is_looser(mine: Bound, shipped: Bound) -> bool:
    gap = shipped.limit - mine.limit if mine.side == "low" else mine.limit - shipped.limit
    return gap > TOLERANCE
