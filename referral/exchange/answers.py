"""The calculator's answers as plain JSON values, in a fixed order of keys."""

import json
from collections.abc import Mapping
from typing import Any

from referral.core.measure.readings import Caveat, Measured, Reading
from referral.core.rules.finding import Finding, Judgement
from referral.core.rules.region import Region
from referral.core.rules.window import Nearest, Window
from referral.exchange.calculator import Foretold
from referral.films.conventions import conventions_record

FINDING_KEYS = (
    "rule",
    "stage",
    "measure",
    "verdict",
    "severity",
    "value",
    "u",
    "limit",
    "unit",
    "margin",
    "p_outside",
    "limit_from",
    "evidence",
    "source",
    "reason",
    "says",
)


CASE = "case:"
WINDOW_KEYS = (
    "heel_trim_mm",
    "heel_trim_medial_mm",
    "heel_trim_lateral_mm",
    "toe_trim_mm",
    "wedge_deg",
    "wedge_mm",
)
"""What a window varies of a plan."""


def measured_answer(measured: Measured) -> dict[str, Any]:
    """Return the answer of ``measure``."""
    return {
        **_stage(measured),
        "warnings": _warnings(measured.warnings),
        "conventions": conventions_record(measured),
    }


def foretold_answer(foretold: Foretold) -> dict[str, Any]:
    """Return the answer of ``predict``."""
    prediction = foretold.prediction
    return {
        "after_fit": {
            **_stage(prediction.after_fit),
            "phi_deg": prediction.phi_deg,
            "bearing_length_mm": prediction.bearing_length_mm,
        },
        "at_due": {**_stage(prediction.at_due), "weeks": prediction.weeks},
        "longest_interval_weeks": foretold.longest_interval_weeks,
        "joints": dict(prediction.joints),
        "assumptions": list(foretold.assumptions),
        "warnings": _warnings((*prediction.now.warnings, *prediction.warnings)),
        "conventions": conventions_record(prediction.now),
    }


def judged_answer(judgement: Judgement) -> dict[str, Any]:
    """Return the answer of ``judge``."""
    return {
        "worst": judgement.worst,
        "summary": judgement.summary,
        "rulebook": judgement.rulebook,
        "not_run": list(judgement.not_run),
        "findings": [_finding(each) for each in judgement.findings],
    }


def window_answer(window: Window) -> dict[str, Any]:
    """Return the answer of ``window``; a limit is its place in ``limits``, a rule its id."""
    return {
        "feasible": window.feasible,
        "why": window.why,
        "wedges": [_region(each) for each in window.regions],
        "plan_inside": window.plan_inside,
        "nearest": _nearest(window.nearest),
        "conflict": [_named(rule) for rule in window.conflict],
        "other_conflicts": window.other_conflicts,
        "unchecked": [_named(each.rule) for each in window.unchecked],
        "unchecked_reasons": [each.reason.sentence for each in window.unchecked],
    }


def as_text(answer: Mapping[str, Any]) -> str:
    """Return an answer as JSON to read; a number that is not finite is our own fault."""
    return json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False)


def _stage(measured: Measured) -> dict[str, Any]:
    return {
        "readings": {code: _reading(each) for code, each in measured.readings.items()},
        "absent": dict(measured.absent),
    }


def _reading(reading: Reading) -> dict[str, Any]:
    answer: dict[str, Any] = {
        "value": reading.value,
        "u": reading.u,
        "unit": reading.unit,
        "scale_state": reading.scale_state,
        "basis": reading.basis,
    }
    if reading.stated is not None:
        value, u = reading.stated
        answer["stated"] = {"value": value, "u": u}
    return answer


def _finding(finding: Finding) -> dict[str, Any]:
    return {key: getattr(finding, key) for key in FINDING_KEYS}


def _named(rule: str) -> int | str:
    return int(rule.removeprefix(CASE)) if rule.startswith(CASE) else rule


def _region(region: Region) -> dict[str, Any]:
    return {
        "wedge_deg": region.wedge_deg,
        "wedge_mm": region.wedge_mm,
        "area_mm2": region.area_mm2,
        "outline_mm": region.outline_mm,
        "close_outline_mm": region.close_outline_mm,
        "heel_trim_mm": region.heel_trim_mm,
        "toe_trim_mm": region.toe_trim_mm,
        "binding": [
            {
                "side": each.axis,
                "end": each.end,
                "limits": [_named(rule) for rule in each.limits],
                "horn": each.horn,
                "range_end": each.range_end,
                "at_mm": each.at_mm,
            }
            for each in region.binding
        ],
    }


def _nearest(nearest: Nearest | None) -> dict[str, Any] | None:
    if nearest is None:
        return None
    said = {key: getattr(nearest.plan, key) for key in WINDOW_KEYS}
    return {key: value for key, value in said.items() if value is not None} | {
        "distance": nearest.distance
    }


def _warnings(caveats: tuple[Caveat, ...]) -> list[dict[str, str]]:
    return [{"code": each.code, "text": each.text} for each in caveats]
