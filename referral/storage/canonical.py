"""Canonical JSON: one text for one content, so that its hash means something."""

import hashlib
import json
import math
from typing import Any

SIGNIFICANT_DIGITS = 9
EXACT_BELOW = 1e15
"""Whole floats below this are exact, so 2.0 and 2 are written alike."""


def rounded(value: Any) -> Any:  # noqa: ANN401 - any JSON value in, the same out
    """Return the value with every float rounded to nine significant digits.

    Raises
    ------
    ValueError
        If a number is NaN or infinite.
    """
    if isinstance(value, float):
        if not math.isfinite(value):
            message = "NaN and infinity have no canonical form."
            raise ValueError(message)
        short = float(f"{value:.{SIGNIFICANT_DIGITS}g}")
        return int(short) if short.is_integer() and abs(short) < EXACT_BELOW else short
    if isinstance(value, dict):
        return {str(key): rounded(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(inner) for inner in value]
    return value


def canonical_json(value: Any) -> bytes:  # noqa: ANN401 - any JSON value
    """Return the canonical bytes of a JSON value: sorted keys, UTF-8, rounded numbers."""
    return json.dumps(
        rounded(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    ).encode()


def sha256_hex(data: bytes) -> str:
    """Return the SHA-256 of the bytes in hexadecimal."""
    return hashlib.sha256(data).hexdigest()
