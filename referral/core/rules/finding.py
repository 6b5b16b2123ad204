"""What judging gives back: findings in a stable order and what they add up to."""

from dataclasses import dataclass
from datetime import date

VERDICTS = ("WITHIN", "OUTSIDE", "TOO_CLOSE", "CANNOT_TELL", "NOT_APPLICABLE")
SEVERITIES = ("note", "caution", "breach", "red_flag")
STAGES = ("now", "after_fit", "at_due", "as_fitted", "change")


@dataclass(frozen=True, slots=True)
class CaseLimit:
    """A limit the vet set on this case. ``strength`` is ``must`` or ``should``."""

    measure: str
    stage: str
    strength: str
    at_least: float | None = None
    at_most: float | None = None
    unit: str | None = None
    limb: str | None = None
    reason: str | None = None
    review_on: date | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule's or limit's answer on one plan, with everything it rests on."""

    rule: str
    title: str
    stage: str
    measure: str | None
    verdict: str
    severity: str
    value: float | None
    u: float | None
    limit: float | None
    unit: str | None
    margin: float | None
    p_outside: float | None
    limit_from: str
    evidence: str | None
    source: str | None
    reason: str
    says: str
    folded_under: str | None = None
    limit_since: str | None = None
    looser_than_shipped: bool = False


@dataclass(frozen=True, slots=True)
class Judgement:
    """All findings, the worst of them in the agreed order, and one sentence."""

    worst: str
    summary: str
    rulebook: str
    not_run: tuple[str, ...]
    findings: tuple[Finding, ...]


def blank_finding(rule: str, title: str, stage: str, origin: str) -> Finding:
    """Return a finding that says nothing yet: not applicable, a note, no numbers.

    Examples
    --------
    >>> blank_finding("X01", "Sole depth", "now", "shipped").verdict
    'NOT_APPLICABLE'
    """
    return Finding(
        rule=rule,
        title=title,
        stage=stage,
        measure=None,
        verdict="NOT_APPLICABLE",
        severity="note",
        value=None,
        u=None,
        limit=None,
        unit=None,
        margin=None,
        p_outside=None,
        limit_from=origin,
        evidence=None,
        source=None,
        reason="",
        says="",
    )
