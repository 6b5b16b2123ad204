"""Medians of how long something takes."""

import statistics
import time
from collections.abc import Callable

RUNS = 41


def median_ms(act: Callable[[], object], at_most: int | None = None) -> float:
    """Return the median time in ms of several runs, after one that is not counted."""
    act()
    took = []
    for _ in range(min(RUNS, at_most or RUNS)):
        start = time.perf_counter()
        act()
        took.append((time.perf_counter() - start) * 1000)
    return statistics.median(took)
