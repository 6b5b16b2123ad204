"""Stored values to grey levels: mask, rescale, window, eight bits, and inversion last.

Source: DICOM PS3.3 sections C.7.6.3.1 (bits), C.11.1 (modality), C.11.2 (VOI window and its
functions), C.11.6 (presentation).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TOP = 255
AUTO_LOW_PERCENT = 0.5
AUTO_HIGH_PERCENT = 99.5


@dataclass(frozen=True, slots=True)
class Window:
    """Centre and width in rescaled values, the function, and where they come from."""

    centre: float
    width: float
    function: str
    origin: str


def mask_bits(words: NDArray[np.integer], bits_stored: int, *, signed: bool) -> NDArray[np.int64]:
    """Return stored values without what stands in the unused high bits."""
    values = words.astype(np.int64) & ((1 << bits_stored) - 1)
    if signed:
        sign = 1 << (bits_stored - 1)
        values = (values ^ sign) - sign
    return values


def auto_window(values: NDArray[np.floating]) -> Window:
    """Return a window over the middle 99 % of the values, for a film that brings none."""
    low, high = np.percentile(values, [AUTO_LOW_PERCENT, AUTO_HIGH_PERCENT])
    width = max(float(high - low), 1.0)
    return Window(float(low) + width / 2.0, width, "LINEAR_EXACT", "auto")


def is_usable(centre: float | None, width: float | None, function: str) -> bool:
    """Say whether a window can be applied; an absurd one is treated as none."""
    if centre is None or width is None or not np.isfinite([centre, width]).all():
        return False
    return width >= 1.0 if function == "LINEAR" else width > 0.0


def windowed(values: NDArray[np.floating], window: Window) -> NDArray[np.float64]:
    """Return values from 0 to 1 by the window's function."""
    centre, width = window.centre, window.width
    if window.function == "SIGMOID":
        return 1.0 / (1.0 + np.exp(-4.0 * (values - centre) / width))
    if window.function == "LINEAR_EXACT":
        return np.clip((values - centre) / width + 0.5, 0.0, 1.0)
    if width <= 1.0:
        return (values > centre - 0.5).astype(float)
    return np.clip((values - (centre - 0.5)) / (width - 1.0) + 0.5, 0.0, 1.0)


def looked_up(
    values: NDArray[np.floating], first: int, table: NDArray[np.integer], bits: int
) -> NDArray[np.float64]:
    """Return values from 0 to 1 through a VOI look-up table."""
    index = np.clip(np.rint(values).astype(np.int64) - first, 0, len(table) - 1)
    return table[index] / float((1 << bits) - 1)


def to_eight_bits(shares: NDArray[np.float64], *, inverted: bool) -> NDArray[np.uint8]:
    """Return grey levels; black for white is the very last step."""
    grey = np.rint(shares * TOP).astype(np.uint8)
    return (TOP - grey).astype(np.uint8) if inverted else grey
