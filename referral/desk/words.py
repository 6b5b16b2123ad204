"""Plain words for what the record holds: entries, limits, standings."""

from referral.core.measure.registry import MEASURES

UNIT_SIGNS = {"deg": "°", "mm": " mm", "percent": " %", "ratio": "", "weeks": " weeks"}
STAGES = {
    "now": "now",
    "after_fit": "after fitting",
    "at_due": "at the due date",
    "as_fitted": "as fitted",
    "change": "change at this visit",
}

def bound_says(at_least: float | None, at_most: float | None, unit: str) -> str:
    """Return a limit's bounds in words and numbers."""
    sign = UNIT_SIGNS.get(unit, f" {unit}")
    parts = []
    if at_least is not None:
        parts.append(f"at least {at_least:g}{sign}")
    if at_most is not None:
        parts.append(f"at most {at_most:g}{sign}")
    return " and ".join(parts)


def measure_name(code: str) -> str:
    """Return the name of a reading, or its code when no reading is called so."""
    return MEASURES[code].name if code in MEASURES else code.replace("_", " ")


def condition_says(condition: str) -> str:
    """Return a condition in plain words."""
    return condition.replace("_", " ")
