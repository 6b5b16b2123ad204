"""Readings stated by hand, and what becomes of them beside a film's."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from referral.core.errors import CoreError, NotFinite
from referral.core.measure.readings import Caveat, Measured, Reading
from referral.core.measure.registry import measure_of

STATED_U: Mapping[str, float] = MappingProxyType(
    {"mm": 0.72, "deg": 0.72, "percent": 0.4, "ratio": 0.011}
)
"""Standard uncertainty of a value stated without one, by unit.

0.72 makes the smallest change between two visits that counts, 1.96 x sqrt(2) x u, 2 mm or
2 degrees (common practice). Percent and ratio: 0.72 mm on each of the two lengths of an
adult forefoot that they are made of (130 mm bearing length, 66 mm cortex).
"""

STATED_SCALES = frozenset({"marker", "corrected", "estimated", "none", "external"})
UNSAID = "unsaid"
TWO_SIDED_95 = 1.96


@dataclass(frozen=True, slots=True)
class StatedValue:
    """A reading typed in: value and u in the reading's unit, and the scale it was read with."""

    value: float
    u: float | None = None
    scale: str | None = None
    instead_of_film: bool = False


def stated_readings(raw: Mapping[str, StatedValue]) -> Measured:
    """Return typed-in values as readings.

    Returns
    -------
    Measured
        Readings of basis ``stated``; u as stated, else ``STATED_U``; the scale state is the
        one said, else ``unsaid``, whose lengths are not judged against limits in mm.

    Raises
    ------
    UnknownMeasure
        If no reading has the code.
    NotFinite
        If a value or u is NaN or infinite.
    CoreError
        If u is negative or the scale is none that is known.

    Examples
    --------
    >>> found = stated_readings({"palmar_angle_deg": StatedValue(4.0)})
    >>> found.readings["palmar_angle_deg"].u
    0.72
    """
    return Measured(MappingProxyType({code: _reading(code, said) for code, said in raw.items()}))


def merge(film: Measured, stated: Measured) -> Measured:
    """Return the film's readings with the stated ones beside and between them.

    Returns
    -------
    Measured
        The film's value is judged and carries the stated one as ``stated``; a stated value
        that says ``instead_of_film`` takes its place. What only one of them has is kept as
        it is. A caveat names each pair that differs by more than 1.96 sqrt(u1^2 + u2^2).

    Examples
    --------
    >>> typed = stated_readings({"palmar_angle_deg": StatedValue(4.0)})
    >>> merge(Measured(absent={"palmar_angle_deg": "needs p3_tip"}), typed).absent
    mappingproxy({})
    """
    readings = dict(film.readings)
    warnings = []
    for code, said in stated.readings.items():
        seen = film.readings.get(code)
        if seen is None:
            readings[code] = said
            continue
        warnings += _disagreement(seen, said)
        beside = replace(seen, stated=(said.value, said.u))
        readings[code] = said if said.instead_of_film else beside
    absent = {code: why for code, why in film.absent.items() if code not in readings}
    return Measured(
        MappingProxyType(readings),
        MappingProxyType(absent),
        (*film.warnings, *stated.warnings, *warnings),
    )


def _reading(code: str, said: StatedValue) -> Reading:
    at = f"readings.{code}"
    measure = measure_of(code, at=at)
    unit = measure.unit
    u = STATED_U[unit] if said.u is None else said.u
    if not math.isfinite(said.value) or not math.isfinite(u):
        raise NotFinite(f"{code} and its u must be finite numbers.", at=at)
    if u < 0.0:
        raise CoreError("A standard uncertainty is zero or more.", at=f"{at}.u")
    if said.scale is not None and said.scale not in STATED_SCALES:
        known = ", ".join(sorted(STATED_SCALES))
        raise CoreError(
            f"There is no scale {said.scale!r}; it is one of {known}.", at=f"{at}.scale"
        )
    scale = said.scale or UNSAID
    return Reading(
        code,
        said.value,
        u,
        unit,
        scale,
        "stated",
        instead_of_film=said.instead_of_film,
        convention=measure.convention,
    )


def _disagreement(seen: Reading, said: Reading) -> list[Caveat]:
    apart = abs(seen.value - said.value)
    allowed = TWO_SIDED_95 * math.hypot(seen.u, said.u)
    if apart <= allowed:
        return []
    judged = "the stated one" if said.instead_of_film else "the film's"
    text = (
        f"{seen.code}: the film gives {seen.value:.2f} and {said.value:.2f} was stated, farther "
        f"apart than {allowed:.2f}; {judged} is judged."
    )
    return [Caveat("stated_differs", text)]
