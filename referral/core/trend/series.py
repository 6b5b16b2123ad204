"""Readings over visits: which belong to one series, what changed, and whether it is real."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from referral.core.errors import CoreError
from referral.core.measure.readings import LENGTH_STATES_JUDGED, Convention, Reading

TWO_SIDED_95 = 1.96
SCALED = "scaled"
LENGTHS = frozenset({"mm"})


@dataclass(frozen=True, slots=True)
class Point:
    """One reading on one day: value and standard uncertainty u in the reading's own unit."""

    on: date
    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Kind:
    """What makes readings comparable: the code, where they come from, their scale, definition.

    ``convention`` is the definition they were taken by, ``None`` where it was not kept.
    """

    code: str
    basis: str
    scale: str
    convention: Convention | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """Last less first, its standard uncertainty, and whether it is more than error.

    ``least_real`` is the smallest change that would count, 1.96 times u.
    """

    value: float
    u: float
    is_real: bool

    @property
    def least_real(self) -> float:
        """The smallest change that counts, in the reading's unit."""
        return TWO_SIDED_95 * self.u


def series_of(visits: Iterable[tuple[date, Mapping[str, Reading]]]) -> dict[Kind, list[Point]]:
    """Return readings of one limb sorted into series that may be joined, oldest first.

    Parameters
    ----------
    visits : iterable of (date, mapping of code to Reading)
        What was measured or stated, a visit each, in any order.

    Returns
    -------
    dict of Kind to list of Point
        Films, stated values, photos and what was predicted are never joined, nor lengths whose
        scale may be judged with lengths whose scale may not, nor readings of other definitions
        or with one that was not kept; of two of a kind on one day the later given stands.

    Examples
    --------
    >>> angle = Reading("palmar_angle_deg", 4.0, 0.5, "deg", "marker", "film")
    >>> found = series_of([(date(2026, 5, 1), {angle.code: angle})])
    >>> [(kind.code, kind.basis, kind.scale) for kind in found]
    [('palmar_angle_deg', 'film', '')]
    """
    found: dict[Kind, dict[date, Point]] = {}
    for on, readings in visits:
        for reading in readings.values():
            found.setdefault(kind_of(reading), {})[on] = Point(on, reading.value, reading.u)
    return {kind: [at[on] for on in sorted(at)] for kind, at in found.items()}


def kind_of(reading: Reading) -> Kind:
    """Return what a reading may be compared with: readings of the same kind."""
    return Kind(reading.code, reading.basis, _scale_kind(reading), reading.convention)


def _scale_kind(reading: Reading) -> str:
    if reading.unit not in LENGTHS:
        return ""
    return SCALED if reading.scale_state in LENGTH_STATES_JUDGED else reading.scale_state


def change_between(first: Point, last: Point) -> Change:
    """Return the change from one visit to another, and whether it is real.

    Real is what lies beyond 1.96 times the root of the sum of both u squared.

    Raises
    ------
    CoreError
        If a value or an uncertainty is NaN or infinite, or an uncertainty is below zero.

    Notes
    -----
    Source: JCGM 100:2008, 5.1.2 (two independent readings) and G.3 (coverage factor 1.96).

    Examples
    --------
    >>> first, last = Point(date(2026, 1, 1), 3.0, 0.72), Point(date(2026, 2, 1), 5.0, 0.72)
    >>> change = change_between(first, last)
    >>> change.is_real, round(change.least_real, 2)
    (True, 2.0)
    """
    for each in (first, last):
        if not (math.isfinite(each.value) and math.isfinite(each.u)) or each.u < 0.0:
            raise CoreError("A reading and its uncertainty must be finite numbers.", at="u")
    u = math.hypot(first.u, last.u)
    value = last.value - first.value
    return Change(value, u, abs(value) > TWO_SIDED_95 * u)


@dataclass(frozen=True, slots=True)
class Kept:
    """What was promised beside what was achieved: achieved less promised, real or within error."""

    on: date
    promised: Point
    achieved: Point
    change: Change


def promised_beside_achieved(
    promised: Sequence[Point], achieved: Sequence[Point], longest_days: int
) -> tuple[Kept, ...]:
    """Return each promise with the reading nearest to its day, at most so many days from it.

    Parameters
    ----------
    promised, achieved : sequence of Point
        What plans foretold for a day, and what was measured; of one reading and limb.
    longest_days : int
        How far from the promise's day, before or after, a reading still answers for it.

    Returns
    -------
    tuple of Kept
        In the order of the promises; those that nothing answers for are left out. Of two
        equally near the earlier answers.

    Examples
    --------
    >>> plan, film = Point(date(2026, 5, 1), 6.0, 1.0), Point(date(2026, 5, 1), 5.5, 0.5)
    >>> promised_beside_achieved([plan], [film], 14)[0].change.is_real
    False
    """
    kept = []
    for promise in sorted(promised, key=lambda each: each.on):
        near = {each: abs((each.on - promise.on).days) for each in achieved}
        answers = [each for each, days in near.items() if days <= longest_days]
        if answers:
            answer = min(answers, key=lambda each: (near[each], each.on))
            kept.append(Kept(promise.on, promise, answer, change_between(promise, answer)))
    return tuple(kept)
