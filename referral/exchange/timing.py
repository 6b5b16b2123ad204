"""Medians of how long something takes."""

import statistics
import time
from collections.abc import Callable, Sequence

RUNS = 41


def median_ms(act: Callable[[], object], at_most: int | None = None) -> float:
    """Return the median time in ms of several runs, after one that is not counted."""
    return medians_ms([act], at_most)[0]


def medians_ms(acts: Sequence[Callable[[], object]], at_most: int | None = None) -> list[float]:
    """Return the median time in ms of each, done in turn: what slows one slows its neighbour."""
    took: list[list[float]] = [[] for _ in acts]
    for run in range(min(RUNS, at_most or RUNS) + 1):
        for act, mine in zip(acts, took, strict=True):
            start = time.perf_counter()
            act()
            if run:
                mine.append((time.perf_counter() - start) * 1000)
    return [statistics.median(mine) for mine in took]
