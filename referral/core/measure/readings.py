"""A reading and a set of readings: what measuring a film or a foot gives back."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType

LENGTH_STATES_JUDGED = frozenset({"marker", "corrected", "foot_frame"})
"""Scale states whose lengths may be judged against limits in millimetres."""


@dataclass(frozen=True, slots=True)
class Profile:
    """The foot that is judged: limb (LF RF LH RH), animal, conditions and the day."""

    limb: str
    animal: str
    on: date
    conditions: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Caveat:
    """A warning beside readings: a stable code and one plain sentence."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Convention:
    """How a reading is defined: what + means, the definition, its landmarks, and its source.

    ``needs`` are the landmarks of the definition, reference lines' too; ``a|b`` means either.
    """

    sign: str
    sentence: str
    needs: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured, stated or predicted value with its standard uncertainty.

    ``unit`` is one of ``deg mm percent ratio weeks``. ``u`` is the standard
    uncertainty (k = 1) in the same unit. ``scale_state`` is one of ``marker
    corrected estimated none foot_frame external unsaid`` (``none`` for angles and ratios of
    an unscaled film). ``basis`` is one of ``film foot_frame stated photo predicted``.
    ``stated`` is what was stated by hand beside a film's value, with its u.
    ``instead_of_film`` marks a stated value that is to be judged in the film's place.
    ``convention`` is the definition it was taken by; ``None`` is one that was not kept. It says
    what the reading is and no part of its value, so readings are compared without it.
    """

    code: str
    value: float
    u: float
    unit: str
    scale_state: str
    basis: str
    stated: tuple[float, float] | None = None
    instead_of_film: bool = False
    convention: Convention | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Measured:
    """Readings by code, the absent ones with their reason, and caveats."""

    readings: Mapping[str, Reading] = field(default_factory=lambda: MappingProxyType({}))
    absent: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    warnings: tuple[Caveat, ...] = ()
