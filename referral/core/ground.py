"""The ground that a plan under way rests on: where it has moved, and whether it is back."""

from collections.abc import Mapping

Moved = frozenset[tuple[str, str]]
"""By part of the ground (limits, problems, the readings of a limb), what it was before it moved."""

SOLID: Moved = frozenset()
UNKNOWN = ("unknown", "")
"""Stands for a change of which nobody kept what was there before; it never comes back."""


def moved_ground(moved: Moved, change: object) -> Moved:
    """Return what of the ground lies elsewhere than before, after one more change.

    Parameters
    ----------
    moved : frozenset of (str, str)
        What had moved already: part and the digest of what it was.
    change : mapping or None
        The ``part``, and the digests of its content ``before`` and ``after`` this change;
        ``None`` where they were not kept.

    Returns
    -------
    frozenset of (str, str)
        Empty once every part is again what it was.

    Examples
    --------
    >>> there = moved_ground(SOLID, {"part": "limits", "before": "a", "after": "b"})
    >>> back = moved_ground(there, {"part": "limits", "before": "b", "after": "a"})
    >>> sorted(there), sorted(back)
    ([('limits', 'a')], [])
    """
    if not isinstance(change, Mapping):
        return moved | {UNKNOWN}
    part, before, after = (str(change[key]) for key in ("part", "before", "after"))
    was = dict(moved).get(part, before)
    others = frozenset(each for each in moved if each[0] != part)
    return others if was == after else others | {(part, was)}
