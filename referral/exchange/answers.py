"""The calculator's answers as plain JSON values, in a fixed order of keys."""

import json
from collections.abc import Mapping
from typing import Any

from referral.core.measure.readings import Caveat, Measured, Reading
from referral.core.rules.finding import Finding, Judgement
from referral.exchange.calculator import Foretold

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


def measured_answer(measured: Measured) -> dict[str, Any]:
    """Return the answer of ``measure``."""
    return {**_stage(measured), "warnings": _warnings(measured.warnings)}


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


def _warnings(caveats: tuple[Caveat, ...]) -> list[dict[str, str]]:
    return [{"code": each.code, "text": each.text} for each in caveats]
