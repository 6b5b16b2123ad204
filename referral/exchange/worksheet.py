"""A worksheet as it is worked with: the foot, its film and readings, the plan, the limits."""

from dataclasses import dataclass

from referral.core.measure.film import Film
from referral.core.measure.readings import Measured, Profile
from referral.core.predict.plan import Plan
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask


@dataclass(frozen=True, slots=True)
class Worksheet:
    """One foot on one day; a part that was not given is ``None`` or empty."""

    profile: Profile
    film: Film | None = None
    stated: Measured = Measured()  # noqa: RUF009 - frozen, so it can be shared
    plan: Plan | None = None
    as_fitted: Plan | None = None
    limits: tuple[CaseLimit, ...] = ()
    facts: Facts | None = None
    window: Ask = Ask()  # noqa: RUF009 - frozen, so it can be shared
