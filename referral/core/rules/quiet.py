"""Which cautions stay folded: those that vet and farrier acknowledged and that are as they were."""

from collections.abc import Iterable
from dataclasses import dataclass

from referral.core.rules.finding import Finding
from referral.core.rules.guard import TOLERANCE, guard_band

QUIETABLE = frozenset({"note", "caution"})
"""What may go quiet. A breach or a red flag never does."""

TELLING = frozenset({"OUTSIDE", "TOO_CLOSE"})
"""Answers that say something of the foot. What cannot be told is asked again every time."""

BOTH = frozenset({"vet", "farrier"})


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """A caution as somebody acknowledged it on a limb, in which role, why, and by what name."""

    limb: str
    finding: Finding
    role: str
    reason: str
    by: str = ""


def may_go_quiet(finding: Finding) -> bool:
    """Return whether a finding is one that can be acknowledged to keep it quiet.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from referral.core.rules.finding import blank_finding
    >>> seen = replace(blank_finding("X01", "Sole", "now", "shipped"), verdict="OUTSIDE")
    >>> [may_go_quiet(replace(seen, severity=how)) for how in ("caution", "breach")]
    [True, False]
    """
    return (
        finding.severity in QUIETABLE
        and finding.verdict in TELLING
        and finding.folded_under is None
    )


def still_holds(acknowledged: Acknowledged, limb: str, finding: Finding) -> bool:
    """Return whether a finding is the one that was acknowledged, unchanged.

    Parameters
    ----------
    acknowledged : Acknowledged
        What was acknowledged.
    limb, finding : str, Finding
        What is found now.

    Returns
    -------
    bool
        True if rule, limit, its date and its severity are the same, and the value lies within
        U = 2u of the one acknowledged, u being that one's; it is always compared with that one,
        so that it cannot creep. False where a value is now outside that was too close to call.
        Findings without a number are the same if they say the same.

    Notes
    -----
    A limit of the vet's is known by what it asks, since its place in the list may change.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from referral.core.rules.finding import blank_finding
    >>> blank = blank_finding("X01", "Sole", "after_fit", "shipped")
    >>> seen = replace(
    ...     blank, verdict="OUTSIDE", severity="caution", value=12.0, u=0.5, limit=15.0, margin=-3.0
    ... )
    >>> by_vet = Acknowledged("LF", seen, "vet", "As thick as it gets this winter")
    >>> [still_holds(by_vet, "LF", replace(seen, value=value)) for value in (11.5, 10.5)]
    [True, False]
    """
    before = acknowledged.finding
    if not may_go_quiet(finding) or limb != acknowledged.limb:
        return False
    if _limit_of(finding) != _limit_of(before):
        return False
    if before.verdict == "TOO_CLOSE" and finding.verdict == "OUTSIDE":
        return False
    if finding.value is None or before.value is None:
        return finding.value == before.value and finding.says == before.says
    return abs(finding.value - before.value) <= guard_band(before.u or 0.0)


def holding(
    limb: str, finding: Finding, acknowledged: Iterable[Acknowledged]
) -> tuple[Acknowledged, ...]:
    """Return the acknowledgements that hold of a finding as it is now.

    Returns
    -------
    tuple of Acknowledged
        The latest of each role, the roles in the order of their names.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from referral.core.rules.finding import blank_finding
    >>> blank = blank_finding("X01", "Surface", "now", "shipped")
    >>> seen = replace(blank, verdict="OUTSIDE", severity="note")
    >>> by_vet = Acknowledged("LF", seen, "vet", "It dries by spring")
    >>> holding("LF", seen, [by_vet]) == (by_vet,)
    True
    """
    latest = {each.role: each for each in acknowledged if still_holds(each, limb, finding)}
    return tuple(latest[role] for role in sorted(latest))


def quieted(
    limb: str, finding: Finding, acknowledged: Iterable[Acknowledged]
) -> tuple[Acknowledged, ...]:
    """Return the acknowledgements that keep a finding quiet; empty if it must be seen again.

    Returns
    -------
    tuple of Acknowledged
        The latest that holds of the vet's and of the farrier's; empty unless both hold.

    Examples
    --------
    >>> from referral.core.rules.finding import blank_finding
    >>> quieted("LF", blank_finding("X01", "Sole", "now", "shipped"), [])
    ()
    """
    found = holding(limb, finding, acknowledged)
    sides = tuple(each for each in found if each.role in BOTH)
    return sides if len(sides) == len(BOTH) else ()


def _limit_of(finding: Finding) -> tuple[object, ...]:
    """Return which limit a finding is about, and on which side of it the value lies."""
    rule = finding.limit_from if finding.limit_from == "case" else finding.rule
    limit = None if finding.limit is None else round(finding.limit / TOLERANCE) * TOLERANCE
    return (
        rule,
        finding.stage,
        finding.measure,
        finding.severity,
        limit,
        finding.unit,
        finding.limit_since,
        _side(finding),
    )


def _side(finding: Finding) -> bool | None:
    """Return whether more of the value is worse; None where that cannot be told."""
    if finding.value is None or finding.limit is None or not finding.margin:
        return None
    return (finding.value - finding.limit) * finding.margin < 0.0
