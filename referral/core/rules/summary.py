"""What findings add up to: the worst of them, one sentence, and which fold under which."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from referral.core.rules.finding import Finding
from referral.core.rules.reasons import SENTENCES
from referral.core.rules.rule import severity_rank

WORST_ORDER = (
    "red_flag",
    "breach",
    "cannot_tell_must",
    "too_close_must",
    "caution",
    "too_close",
    "cannot_tell",
    "note",
    "within",
    "nothing_applied",
)
"""From worst to best; ``must`` includes rules of breach level and above."""


def standing(finding: Finding) -> str:
    """Return where one finding stands in ``WORST_ORDER``.

    Examples
    --------
    >>> from referral.core.rules.finding import blank_finding
    >>> standing(blank_finding("X01", "Sole", "now", "shipped"))
    'nothing_applied'
    """
    if finding.verdict == "NOT_APPLICABLE":
        return "nothing_applied"
    if finding.verdict == "WITHIN":
        return "within"
    if finding.verdict == "OUTSIDE" or finding.severity == "note":
        return finding.severity
    must = severity_rank(finding.severity) >= severity_rank("breach")
    return finding.verdict.lower() + ("_must" if must else "")


def worst_of(findings: Sequence[Finding]) -> str:
    """Return the worst standing among the findings; ``nothing_applied`` if there is none.

    Examples
    --------
    >>> worst_of([])
    'nothing_applied'
    """
    return min(
        (standing(finding) for finding in findings), key=WORST_ORDER.index, default=WORST_ORDER[-1]
    )


def in_order(findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings from worst to best, then by rule; the same for any order given.

    Examples
    --------
    >>> from referral.core.rules.finding import blank_finding
    >>> [f.rule for f in in_order([blank_finding(r, "-", "now", "shipped") for r in ("B", "A")])]
    ['A', 'B']
    """
    return sorted(
        findings,
        key=lambda finding: (
            WORST_ORDER.index(standing(finding)),
            -severity_rank(finding.severity),
            finding.limit_from != "case",
            finding.rule,
            finding.measure or "",
            finding.says,
        ),
    )


def folded(findings: Sequence[Finding]) -> list[Finding]:
    """Return findings in order, each but the strictest of a measure and stage folded under it.

    Findings of one rule never fold under each other, nor one that is not applicable.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from referral.core.rules.finding import blank_finding
    >>> seen = replace(blank_finding("A", "-", "now", "shipped"), verdict="WITHIN", measure="m_mm")
    >>> [f.folded_under for f in folded([replace(seen, rule="B", severity="breach"), seen])]
    [None, 'B']
    """
    leads: dict[tuple[str, str], str] = {}
    result = []
    for finding in in_order(findings):
        if finding.measure is None or finding.verdict == "NOT_APPLICABLE":
            result.append(finding)
            continue
        lead = leads.setdefault((finding.measure, finding.stage), finding.rule)
        under = lead if lead != finding.rule else None
        result.append(replace(finding, folded_under=under))
    return result


def summary_of(findings: Sequence[Finding], acknowledged: Collection[Finding] = ()) -> str:
    """Return the one sentence a screen begins with; folded findings are not counted again.

    Parameters
    ----------
    findings : sequence of Finding
        All findings on one foot.
    acknowledged : collection of Finding
        Those among them that both sides acknowledged; they are counted apart.

    Returns
    -------
    str
        How many limits are broken, and so on, without a full stop.

    Examples
    --------
    >>> summary_of([])
    'Nothing was checked: no rule applies to this foot'
    >>> from referral.core.rules.finding import blank_finding
    >>> blank = blank_finding("X01", "Sole", "now", "shipped")
    >>> seen = replace(blank, verdict="OUTSIDE", severity="caution")
    >>> broken = [replace(seen, rule=f"X{n}") for n in (1, 2, 3)]
    >>> summary_of(broken, broken[:1])
    '2 limits broken, 1 acknowledged'
    """
    shown = [finding for finding in findings if finding.folded_under is None]
    applied = [finding for finding in shown if finding.verdict != "NOT_APPLICABLE"]
    if not applied:
        return "Nothing was checked: no rule applies to this foot"
    loud = [finding for finding in applied if finding not in acknowledged]
    amiss = ", ".join(part for part in _counts(loud) if part)
    untold = _unchecked([finding for finding in loud if finding.verdict == "CANNOT_TELL"])
    is_within = bool(loud) and not (amiss or untold)
    within = f"{len(loud)} checked, all within their limits" if is_within else ""
    known = _counted(len(applied) - len(loud), "acknowledged", "acknowledged")
    return ", ".join(part for part in (amiss, within, known, untold) if part)


def _counts(applied: Sequence[Finding]) -> tuple[str, ...]:
    """Return how many of each kind there are, the worst kind first; empty where there are none."""
    broken = [finding.severity for finding in applied if finding.verdict == "OUTSIDE"]
    limits = len([severity for severity in broken if severity in ("caution", "breach")])
    close = len([finding for finding in applied if finding.verdict == "TOO_CLOSE"])
    return (
        _counted(
            broken.count("red_flag"), "red flag: call the vet now", "red flags: call the vet now"
        ),
        _counted(limits, "limit broken", "limits broken"),
        _counted(broken.count("note"), "note", "notes"),
        _counted(close, "too close to call", "too close to call"),
    )


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}" if count else ""


def _unchecked(findings: Sequence[Finding]) -> str:
    """Return how many cannot be checked and why, the commonest reason first."""
    if not findings:
        return ""
    codes = [finding.reason for finding in findings]
    by_count = sorted(set(codes), key=lambda code: (-codes.count(code), code))
    why = "; ".join(SENTENCES[code] for code in by_count)
    return f"{len(findings)} cannot be checked: {why}"
