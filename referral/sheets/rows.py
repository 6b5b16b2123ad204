"""Findings and the drawing as a sheet prints them."""

from collections.abc import Mapping, Sequence
from typing import Any

from referral.core.rules.quiet import Acknowledged, holding
from referral.plans.cautions import as_finding
from referral.plans.content import plan_from_content
from referral.plans.models import FindingRow
from referral.sheets.drawing import drawn_from
from referral.sheets.snapshot import AcknowledgedShown, DrawnPlan, FindingShown


def finding_shown(
    limb: str,
    row: FindingRow | Any,  # noqa: ANN401 - a stored finding, or a fresh one that knows its limb
    known: Sequence[Acknowledged],
) -> FindingShown:
    """Return a finding of a limb as the sheet prints it, with what was acknowledged of it."""
    finding = as_finding(row)
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
        acknowledged=tuple(
            AcknowledgedShown(each.by, each.role, each.reason)
            for each in holding(limb, finding, known)
        ),
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
