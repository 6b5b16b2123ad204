"""Findings and the drawing as a sheet prints them."""

from collections.abc import Mapping
from typing import Any, Protocol

from referral.plans.content import plan_from_content
from referral.sheets.drawing import drawn_from
from referral.sheets.snapshot import DrawnPlan, FindingShown


class AnyFinding(Protocol):
    """A finding, stored or fresh."""

    rule: str
    title: str
    stage: str
    verdict: str
    severity: str
    limit_from: str
    evidence: str | None
    source: str | None
    says: str
    folded_under: str | None


def finding_shown(finding: AnyFinding) -> FindingShown:
    """Return a finding as the sheet prints it."""
    return FindingShown(
        rule=finding.rule,
        title=finding.title,
        stage=finding.stage,
        verdict=finding.verdict,
        severity=finding.severity,
        says=finding.says,
        limit_from=finding.limit_from,
        evidence=finding.evidence,
        source=finding.source,
    )


def drawn_plan(limb: str, content: Mapping[str, Any], predicted: Mapping[str, Any]) -> DrawnPlan:
    """Return the numbers that the plan drawing is made from."""
    now = predicted["now"]["readings"]

    def reading(code: str) -> float | None:
        return now[code]["value"] if code in now else None

    return drawn_from(
        plan_from_content(content),
        limb,
        wall_angle_deg=reading("dorsal_wall_angle_deg"),
        heel_angle_deg=reading("heel_angle_deg"),
        palmar_angle_deg=reading("palmar_angle_deg"),
        bearing_length_mm=reading("bearing_length_mm"),
    )
