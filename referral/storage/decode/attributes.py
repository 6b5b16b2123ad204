"""Attributes of a DICOM data set read one by one, so that a broken one costs only itself."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from referral.storage.decode.grey import Table

Dataset = Any
"""pydicom's data set; its types are not published."""

ANY_FAULT: tuple[type[Exception], ...] = (Exception,)
"""What the reading libraries raise on broken files: of many kinds, some their own with no base
but this. All of it becomes one sentence; none of our own code stands inside such a ``try``.
"""

MOST_ENTRY_BITS = 16


def text(dataset: Dataset, name: str) -> str:
    """Return an attribute as text, empty if it is missing or broken."""
    try:
        value = dataset.get(name)
        return "" if value is None else str(value).strip(" \0")
    except ANY_FAULT:
        return ""


def whole(dataset: Dataset, name: str) -> int:
    """Return an attribute as a whole number, 0 if it is missing or broken."""
    try:
        return int(dataset.get(name) or 0)
    except ANY_FAULT:
        return 0


def real(dataset: Dataset, name: str) -> float | None:
    """Return the first value of an attribute as a finite number, or None."""
    try:
        value = float(values(dataset.get(name))[0])
    except ANY_FAULT:
        return None
    return value if np.isfinite(value) else None


def values(value: object) -> list[Any]:
    """Return one value, or several, as a list."""
    if isinstance(value, Iterable) and not isinstance(value, str | bytes):
        return list(value)
    return [value]


def as_written(dataset: Dataset, tag: int) -> str | None:
    """Return a value as the text that stands in the file, whether or not it parses."""
    element = dataset.get_item(tag)
    value = None if element is None else element.value
    if value is None:
        return None
    if isinstance(value, bytes):
        return value.decode("ascii", "replace").strip(" \0") or None
    parts = [str(getattr(each, "original_string", each)) for each in values(value)]
    return "\\".join(parts).strip() or None


def table(dataset: Dataset, sequence: str) -> Table | None:
    """Return the first look-up table of a sequence, or None if there is none that works."""
    try:
        item = dataset.get(sequence)[0]
        count, first, bits = (int(each) for each in item.LUTDescriptor)
        data = item.LUTData
        entries = np.frombuffer(data, "<u2") if isinstance(data, bytes) else np.array(values(data))
        entries = entries[: count or 65536].astype(np.int64)
    except ANY_FAULT:
        return None
    is_whole = len(entries) == (count or 65536) and 1 <= bits <= MOST_ENTRY_BITS
    return Table(first, entries, bits) if is_whole else None
