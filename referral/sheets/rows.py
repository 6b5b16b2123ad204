"""Findings and the drawing as a sheet prints them."""

from collections.abc import Mapping
from typing import Any, Protocol

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
    shoe = content.get("shoe") or {}
    now = predicted["now"]["readings"]

    def reading(code: str) -> float | None:
        return now[code]["value"] if code in now else None

    return DrawnPlan(
        limb=limb,
        category=shoe.get("category"),
        toe_trim_mm=content.get("toe_trim_mm") or 0.0,
        heel_trim_mm=content.get("heel_trim_mm") or 0.0,
        toe_dress_mm=content.get("toe_dress_mm") or 0.0,
        wedge_deg=content.get("wedge_deg") or 0.0,
        pad_mm=content.get("pad_mm") or 0.0,
        thickness_mm=shoe.get("thickness_mm") or 0.0,
        web_mm=shoe.get("web_mm"),
        width_mm=shoe.get("width_mm"),
        length_mm=shoe.get("length_mm"),
        breakover_setback_mm=shoe.get("breakover_setback_mm") or 0.0,
        heel_extension_mm=shoe.get("heel_extension_mm") or 0.0,
        medial_extension_mm=shoe.get("medial_extension_mm") or 0.0,
        lateral_extension_mm=shoe.get("lateral_extension_mm") or 0.0,
        wall_angle_deg=reading("dorsal_wall_angle_deg"),
        heel_angle_deg=reading("heel_angle_deg"),
        palmar_angle_deg=reading("palmar_angle_deg"),
        bearing_length_mm=reading("bearing_length_mm"),
    )
