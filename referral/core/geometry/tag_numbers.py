"""Numbers as a DICOM file writes them, in text; what cannot be used is None, never a default."""

import math
import re

LARGEST_SPACING_MM = 10.0

_DECIMAL = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
"""DICOM PS3.5 section 6.2, value representation DS (and IS)."""


def number_in(text: str | None) -> float | None:
    """Return the one decimal number that ``text`` holds, or None; never raises.

    Notes
    -----
    Source: DICOM PS3.5 section 6.2, value representation DS.

    Examples
    --------
    >>> number_in("+1450.0"), number_in("0,143"), number_in("")
    (1450.0, None, None)
    """
    found = _DECIMAL.fullmatch((text or "").strip(" \0"))
    value = math.inf if found is None else float(found[0])
    return value if math.isfinite(value) else None


def pair_in(text: str | None, largest: float = LARGEST_SPACING_MM) -> tuple[float, float] | None:
    r"""Return the two positive numbers, row before column, that ``text`` holds, or None.

    None also where there are not exactly two, or one is zero, negative or over ``largest``
    (mm for a spacing; ten would be a pixel as large as a fingernail); never raises.

    Notes
    -----
    Source: DICOM PS3.3 section 10.7.1.3, the order of the pair.

    Examples
    --------
    >>> pair_in(r"0.10\0.20"), pair_in(r"0.000\0.000"), pair_in("0.1")
    ((0.1, 0.2), None, None)
    """
    numbers = [number_in(part) for part in (text or "").split("\\")]
    if len(numbers) != 2:  # noqa: PLR2004 - row and column
        return None
    row, column = numbers
    if row is None or column is None or not (0 < row <= largest and 0 < column <= largest):
        return None
    return row, column
