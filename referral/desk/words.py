"""Plain words for what the record holds: entries, limits, standings."""

from referral.cases.choices import CONDITIONS
from referral.core.measure.registry import MEASURES


def measure_name(code: str) -> str:
    """Return the name of a reading, or its code when no reading is called so."""
    return MEASURES[code].name if code in MEASURES else code.replace("_", " ")


def condition_says(condition: str) -> str:
    """Return a condition in plain words."""
    return dict(CONDITIONS).get(condition, condition.replace("_", " "))
