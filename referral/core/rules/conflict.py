"""The fewest limits that cannot be met together."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Failed = frozenset[int]


def least_conflict(passed: NDArray[np.bool_]) -> tuple[int, ...]:
    """Return a set of least size of limits that no plan meets together.

    Parameters
    ----------
    passed : ndarray of bool, shape (k, n)
        Whether each of k limits is met by each of n plans.

    Returns
    -------
    tuple of int
        Rows of ``passed``, rising; of several sets of least size the one that comes first.
        Without any one of them the others are met by some plan. Empty if some plan meets
        all, or there is no plan.

    Notes
    -----
    A set is contradictory when every plan fails one of it, so it is a least hitting set of
    what the plans fail. The search is exhaustive, smallest sets first.

    Examples
    --------
    >>> least_conflict(np.array([[True, False], [True, True], [False, True]]))
    (0, 2)
    """
    if passed.shape[-1] == 0 or can_be_met(passed):
        return ()
    failures = _least_failures(passed)
    found: set[tuple[int, ...]] = set()
    size = 0
    while not found:  # all limits together are a set at last
        size += 1
        found = {tuple(sorted(hit)) for hit in _hits(failures, size)}
    return min(found)


def can_be_met(passed: NDArray[np.bool_]) -> bool:
    """Return whether some plan meets all limits of ``passed``, shape (k, n).

    Examples
    --------
    >>> can_be_met(np.array([[True, False], [True, True]]))
    True
    """
    return bool(passed.all(axis=0).any())


def _least_failures(passed: NDArray[np.bool_]) -> list[Failed]:
    """Return what the plans fail, without what another plan fails only a part of."""
    patterns = np.unique(~passed, axis=1).T
    failures = sorted({frozenset(np.flatnonzero(each).tolist()) for each in patterns}, key=len)
    least: list[Failed] = []
    for failed in failures:
        if not any(known <= failed for known in least):
            least.append(failed)
    return least


def _hits(failures: list[Failed], size: int) -> Iterator[tuple[int, ...]]:
    """Yield every set of at most ``size`` limits that has one of each failure."""
    if not failures:
        yield ()
    elif size:
        for limit in sorted(failures[0]):
            rest = [failed for failed in failures if limit not in failed]
            for more in _hits(rest, size - 1):
                yield (limit, *more)
