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
class Opposite:
    """The other foot of the pair: its readings as they are to stand, its lift, whether a club.

    ``lift_mm`` is the thickness of shoe and pad together; ``None`` where it was not said.
    """

    readings: Mapping[str, Reading]
    lift_mm: float | None = None
    is_club: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """What was asked and answered; ``None`` means not said, which never passes a rule.

    ``red_flags`` empty means asked and none seen. ``deviations`` gives, by the
    plan's own key (``shoe.breakover_setback_mm``), why it was fitted otherwise.
    ``film_doubts`` are the codes of what makes the film doubtful, empty for nothing.
    ``resets_in_device`` counts the visits in a wedge or bar since it was last reasoned for.
    ``farrier_words`` is the free text in the farrier's name, ``lameness_before`` the value
    that a lameness is compared with.
    """

    red_flags: tuple[str, ...] | None = None
    recheck_owner: str | None = None
    recheck_on: date | None = None
    plan_signed_on: date | None = None
    previous: Previous | None = None
    resets_in_device: int | None = None
    lameness: Lameness | None = None
    deviations: Mapping[str, str] | None = None
    film_doubts: tuple[str, ...] | None = None
    opposite: Opposite | None = None
    heels_damaged: bool | None = None
    body_mass_kg: float | None = None
    coronet_circumference_mm: float | None = None
    chip: str | None = None
    ueln: str | None = None
    jurisdiction: str | None = None
    farrier_words: tuple[str, ...] | None = None
    lameness_before: Lameness | None = None
