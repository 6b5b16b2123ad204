"""What one judging rests on: feet, plans, limits, and what is known beside them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from referral.core.measure.readings import Measured
from referral.core.predict.growth import OwnRates
from referral.core.rules.facts import Facts, Lameness, Previous
from referral.core.rules.finding import CaseLimit
from referral.films.queries import LimbBasis
from referral.rulebook.overrides import Override

CLUB = "club_foot"


@dataclass(frozen=True, slots=True)
class FootFacts:
    """What is known of one foot beside its film and plan.

    ``observed`` was read on the bare foot itself or off a photo: it is judged, and nothing is
    foretold from it. ``girth_mm`` is that of the coronet. How lame the horse goes says nothing of
    what a plan does to the foot, so it is judged and no agreement is bound to it.
    """

    observed: Measured = field(default_factory=Measured)
    film_doubts: tuple[str, ...] | None = None
    previous: Previous | None = None
    heels_damaged: bool | None = None
    girth_mm: float | None = None
    resets_in_device: int | None = None
    lameness: Lameness | None = None
    lameness_before: Lameness | None = None


@dataclass(frozen=True, slots=True)
class Subject:
    """Everything one judging rests on, limb by limb; reasons are keyed ``LF.heel_trim_mm``.

    ``others`` are the feet of a pair for which nothing is planned, as they were read; their
    ``conditions`` count too. ``overrides`` is what the organisation of the case's vet has set in
    the place of rules.
    """

    animal: str
    conditions: Mapping[str, frozenset[str]]
    bases: Mapping[str, LimbBasis]
    plans: Mapping[str, Mapping[str, Any]]
    limits: tuple[CaseLimit, ...]
    facts: Facts
    fitted: Mapping[str, Mapping[str, Any]] | None = None
    reasons: Mapping[str, str] = field(default_factory=dict)
    own: Mapping[str, OwnRates] = field(default_factory=dict)
    feet: Mapping[str, FootFacts] = field(default_factory=dict)
    others: Mapping[str, Measured] = field(default_factory=dict)
    overrides: tuple[Override, ...] = ()
