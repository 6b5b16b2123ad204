"""The units that readings come in."""

UNITS = ("deg", "mm", "percent", "ratio", "weeks")
SCALE_FREE = frozenset({"deg", "percent", "ratio", "weeks"})
"""Units whose values do not change when every length is wrong by one factor."""


def unit_of(code: str) -> str | None:
    """Return the unit that a reading's code ends in, or ``None`` if it ends in none.

    Examples
    --------
    >>> unit_of("sole_depth_tip_mm"), unit_of("wall_to_cortex_ratio"), unit_of("toe")
    ('mm', 'ratio', None)
    """
    ending = code.rsplit("_", 1)[-1]
    return ending if ending in UNITS else None
