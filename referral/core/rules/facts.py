"""What people say about the horse and the case, beside readings and plan."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from referral.core.measure.readings import Reading


@dataclass(frozen=True, slots=True)
class Previous:
    """The readings of the reset before this one, by code, and their day."""

    on: date
    readings: Mapping[str, Reading]


@dataclass(frozen=True, slots=True)
class Lameness:
    """A lameness value with the name of its scale; scales are never converted."""

    value: float
    scale: str | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """What was asked and answered; ``None`` means not said, which never passes a rule.

    ``red_flags`` empty means asked and none seen. ``deviations`` gives, by the
    plan's own key (``shoe.breakover_setback_mm``), why it was fitted otherwise.
    """

    red_flags: tuple[str, ...] | None = None
    recheck_owner: str | None = None
    recheck_on: date | None = None
    plan_signed_on: date | None = None
    previous: Previous | None = None
    resets_in_device: int | None = None
    lameness: Lameness | None = None
    deviations: Mapping[str, str] | None = None
