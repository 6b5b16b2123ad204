"""Predictions as plain JSON values: what is stored with a judgement and shown on pages."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from referral.core.measure.readings import Measured
from referral.films.conventions import conventions_record
from referral.plans.judging import Judged, LimbOutcome


def predictions_record(judged: Judged) -> dict[str, Any]:
    """Return every limb's prediction as plain values."""
    return {each.limb: _limb_record(each) for each in judged.outcomes}


def _limb_record(outcome: LimbOutcome) -> dict[str, Any]:
    prediction = outcome.prediction
    return {
        "now": measured_record(prediction.now),
        "after_fit": measured_record(prediction.after_fit),
        "at_due": measured_record(prediction.at_due),
        "change": measured_record(prediction.change),
        "conventions": conventions_record(prediction.now),
        "phi_deg": prediction.phi_deg,
        "bearing_length_mm": prediction.bearing_length_mm,
        "weeks": prediction.weeks,
        "longest": outcome.longest(),
        "joints": dict(prediction.joints),
        "assumptions": list(prediction.assumptions),
        "warnings": [asdict(each) for each in prediction.warnings],
    }


def measured_record(measured: Measured) -> Mapping[str, Any]:
    """Return readings and reasons for absence as plain values."""
    return {
        "readings": {
            code: {
                "value": each.value,
                "u": each.u,
                "unit": each.unit,
                "scale_state": each.scale_state,
                "basis": each.basis,
            }
            for code, each in measured.readings.items()
        },
        "absent": dict(measured.absent),
    }
