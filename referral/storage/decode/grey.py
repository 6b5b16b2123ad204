"""Stored values to grey levels: mask, rescale, window, eight bits, and inversion last.

Source: DICOM PS3.3 sections C.7.6.3.1 (bits), C.11.1 (modality), C.11.2 (VOI window and its
functions), C.11.6 (presentation). A film has at most 65 536 stored values, so each step works
on a table of them and the picture is looked up once.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TOP = 255
AUTO_PERCENT = (0.5, 99.5)
ROWS_AT_ONCE = 256


@dataclass(frozen=True, slots=True)
class Window:
    """Centre and width in rescaled values, the function, and where they come from."""

    centre: float
    width: float
    function: str
    origin: str


@dataclass(frozen=True, slots=True)
class Table:
    """A look-up table: the value of its first entry, its entries, and their bits."""

    first: int
    entries: NDArray[np.integer]
    bits: int


def mask_bits(words: NDArray[np.integer], bits_stored: int, *, signed: bool) -> NDArray[np.int64]:
    """Return stored values without what stands in the unused high bits."""
    values = words.astype(np.int64) & ((1 << bits_stored) - 1)
    if signed:
        sign = 1 << (bits_stored - 1)
        values = (values ^ sign) - sign
    return values


def auto_window(values: NDArray[np.floating], counts: NDArray[np.integer]) -> Window:
    """Return a window over the middle 99 % of the picture, for a film that brings none.

    ``counts`` says how many pixels have each of ``values``.
    """
    order = np.argsort(values, kind="stable")
    up_to = np.cumsum(counts[order])
    low, high = (
        float(values[order][np.searchsorted(up_to, up_to[-1] * percent / 100.0)])
        for percent in AUTO_PERCENT
    )
    return Window((low + high) / 2.0, max(high - low, 1.0), "LINEAR_EXACT", "auto")


def counted(codes: NDArray[np.uint16], size: int) -> NDArray[np.int64]:
    """Return how many pixels have each code below ``size``, a few rows at a time."""
    counts = np.zeros(size, np.int64)
    for start in range(0, len(codes), ROWS_AT_ONCE):
        counts += np.bincount(codes[start : start + ROWS_AT_ONCE].ravel(), minlength=size)
    return counts


def is_usable(width: float, function: str) -> bool:
    """Say whether a window of this width can be applied; an absurd one is treated as none."""
    return width >= 1.0 if function == "LINEAR" else width > 0.0


def windowed(values: NDArray[np.floating], window: Window) -> NDArray[np.float64]:
    """Return values from 0 to 1 by the window's function."""
    centre, width = window.centre, window.width
    if window.function == "SIGMOID":
        steep = np.clip(-4.0 * (values - centre) / width, -700.0, 700.0)
        shares: NDArray[np.float64] = 1.0 / (1.0 + np.exp(steep))
        return shares
    if window.function == "LINEAR_EXACT":
        return np.clip((values - centre) / width + 0.5, 0.0, 1.0)
    if width <= 1.0:
        return (values > centre - 0.5).astype(float)
    return np.clip((values - (centre - 0.5)) / (width - 1.0) + 0.5, 0.0, 1.0)


def looked_up(values: NDArray[np.floating], table: Table) -> NDArray[np.float64]:
    """Return the table's entries for values; outside it, its first or last entry."""
    last = len(table.entries) - 1
    index = np.clip(np.rint(values).astype(np.int64) - table.first, 0, last)
    found: NDArray[np.float64] = table.entries[index].astype(np.float64)
    return found


def shares_of(values: NDArray[np.floating], table: Table) -> NDArray[np.float64]:
    """Return values from 0 to 1 through a VOI look-up table."""
    return np.clip(looked_up(values, table) / float((1 << table.bits) - 1), 0.0, 1.0)


def presented_shares(shares: NDArray[np.float64], table: Table | None) -> NDArray[np.float64]:
    """Return values from 0 to 1 through a presentation look-up table spread over all of them."""
    if table is None:
        return shares
    last = len(table.entries) - 1
    index = np.rint(shares * last).astype(np.int64)
    found: NDArray[np.float64] = table.entries[index].astype(np.float64)
    return np.clip(found / float((1 << table.bits) - 1), 0.0, 1.0)


def to_eight_bits(shares: NDArray[np.float64], *, inverted: bool) -> NDArray[np.uint8]:
    """Return grey levels; black for white is the very last step."""
    grey = np.rint(shares * TOP).astype(np.uint8)
    return (TOP - grey).astype(np.uint8) if inverted else grey
