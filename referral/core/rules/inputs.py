"""What is judged: the foot, its readings by stage, the plan, the facts."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from referral.core.measure.film import Film
from referral.core.measure.readings import Measured, Profile
from referral.core.predict.plan import Plan
from referral.core.rules.facts import Facts


@dataclass(frozen=True, slots=True)
class Inputs:
    """One foot on one day; a part that was not supplied is ``None`` or not in ``stages``.

    ``stages`` holds the readings by stage: ``now after_fit at_due as_fitted change``;
    ``change`` is after fit minus now. ``is_done`` says that the plan has been carried out,
    so that what it says itself is taken from ``as_fitted``.
    """

    profile: Profile
    stages: Mapping[str, Measured]
    plan: Plan | None = None
    as_fitted: Plan | None = None
    facts: Facts | None = None
    film: Film | None = None
    is_done: bool = False


@dataclass(frozen=True, slots=True)
class Setting:
    """One judging: the inputs, the day, and whether a case always supplies the facts."""

    inputs: Inputs
    on: date
    complete: bool = False
