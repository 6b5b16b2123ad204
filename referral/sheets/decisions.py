"""A decision that waits for its signature, as JSON and back."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from referral.plans.service import AgreePlan
from referral.resets.service import RecordReset


def agree_to_json(command: AgreePlan) -> dict[str, Any]:
    """Return an agreement as plain values."""
    return {
        "n": command.n,
        "seen_sha256": command.seen_sha256,
        "waivers": {str(key): reason for key, reason in command.waivers.items()},
        "seen": sorted(str(each) for each in command.seen),
        "words": command.words,
        "happened_on": command.happened_on.isoformat(),
        "based_on": command.based_on,
    }


def agree_from_json(kept: Mapping[str, Any]) -> AgreePlan:
    """Return the agreement that was kept."""
    return AgreePlan(
        n=kept["n"],
        seen_sha256=kept["seen_sha256"],
        waivers={UUID(key): reason for key, reason in kept["waivers"].items()},
        seen=frozenset(UUID(each) for each in kept["seen"]),
        words=kept["words"],
        happened_on=date.fromisoformat(kept["happened_on"]),
        based_on=kept["based_on"],
    )


def record_to_json(command: RecordReset) -> dict[str, Any]:
    """Return a record of a reset as plain values."""
    return {
        "plan_n": command.plan_n,
        "limbs": {limb: dict(content) for limb, content in command.limbs.items()},
        "reasons": dict(command.reasons),
        "fitted_on": command.fitted_on.isoformat(),
        "interval_weeks": command.interval_weeks,
        "found": command.found,
        "comfort": command.comfort,
        "advice": command.advice,
        "based_on": command.based_on,
    }


def record_from_json(kept: Mapping[str, Any]) -> RecordReset:
    """Return the record of a reset that was kept."""
    return RecordReset(
        plan_n=kept["plan_n"],
        limbs=kept["limbs"],
        reasons=kept["reasons"],
        fitted_on=date.fromisoformat(kept["fitted_on"]),
        interval_weeks=kept["interval_weeks"],
        found=kept["found"],
        comfort=kept["comfort"],
        advice=kept["advice"],
        based_on=kept["based_on"],
    )
