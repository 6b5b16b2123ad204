"""The ground that a plan under way rests on: where it has moved, and whether it is back."""

from collections.abc import Collection, Mapping

Moved = frozenset[tuple[str, str]]
"""By part of the ground (limits, problems, the readings of a limb), what it was before it moved."""

OPPOSITE: Mapping[str, str] = {"LF": "RF", "RF": "LF", "LH": "RH", "RH": "LH"}
READINGS = "readings."
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


def bears_on(change: object, limbs: Collection[str]) -> bool:
    """Say whether a change of the ground is one that a plan of these feet rests on.

    Parameters
    ----------
    change : mapping or None
        As :func:`moved_ground` takes it.
    limbs : collection of str
        The feet that are planned; empty where that was not kept, and then every change counts.

    Returns
    -------
    bool
        Readings of a foot count for its plan and for its pair's, since left and right are
        compared; those of any other foot do not. Everything else counts.

    Examples
    --------
    >>> fore, hind = {"part": "readings.RF"}, {"part": "readings.LH"}
    >>> bears_on(fore, ["LF"]), bears_on(hind, ["LF"]), bears_on(hind, [])
    (True, False, True)
    """
    part = str(change["part"]) if isinstance(change, Mapping) else ""
    if not limbs or not part.startswith(READINGS):
        return True
    foot = part.removeprefix(READINGS)
    return foot in limbs or OPPOSITE.get(foot) in limbs


def feet_of(facts: Mapping[str, object]) -> frozenset[str]:
    """Return the feet that a plan's entry says it is of; none where they were not kept.

    Examples
    --------
    >>> sorted(feet_of({"limbs": ["LF", "RF"]})), feet_of({})
    (['LF', 'RF'], frozenset())
    """
    said = facts.get("limbs")
    return frozenset(said) if isinstance(said, Collection) else frozenset()
