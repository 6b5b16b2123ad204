"""A trial: every plan of a grid predicted and held against the limits that a window tests."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType

import numpy as np

from referral.core.measure.film import Film
from referral.core.measure.readings import Measured, Profile
from referral.core.predict.growth import OwnRates
from referral.core.predict.many import Bools, predict_many
from referral.core.predict.plan import Plan
from referral.core.predict.prediction import (
    NO_RATES,
    Outlook,
    Prediction,
    outlook_of,
    prediction_of,
)
from referral.core.predict.wedge import wedge_height_mm
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask, Grid, grid_of
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import claims_on
from referral.core.rules.rule import Rulebook
from referral.core.rules.tested import (
    Tested,
    Tries,
    Unchecked,
    other_kinds,
    quantities_of,
    tested_of,
    verdicts_of,
)


@dataclass(frozen=True, slots=True)
class WindowFoot:
    """The foot a window is about: what it starts from, the farrier's plan, what is known."""

    film: Film | None
    stated: Measured
    plan: Plan
    profile: Profile
    facts: Facts | None = None
    own: OwnRates = NO_RATES


@dataclass(frozen=True, slots=True)
class Trial:
    """Every plan of the grid against every limit; arrays are (limit, wedge, heel, toe).

    ``unchecked`` are the limits and rules that no plan of the grid can be held against.
    """

    outlook: Outlook
    inputs: Inputs
    grid: Grid
    tries: Tries
    tested: tuple[Tested, ...]
    passed: Bools
    not_outside: Bools
    unchecked: tuple[Unchecked, ...]

    @property
    def possible(self) -> Bools:
        """Return which plans the foot could follow, shape (wedge, heel, toe)."""
        return self.tries.predictions.possible

    @property
    def inside(self) -> Bools:
        """Return which plans it could follow and meet every limit, shape (wedge, heel, toe)."""
        return self.possible & self.passed.all(axis=0)

    @property
    def rules(self) -> tuple[str, ...]:
        """Return the name of each limit, in the order of ``passed``."""
        return tuple(each.claim.rule for each in self.tested)


def trial_of(
    foot: WindowFoot, rulebook: Rulebook, limits: Sequence[CaseLimit], on: date, ask: Ask
) -> Trial:
    """Return every plan of a grid held against every limit, each at its own stage.

    Parameters
    ----------
    foot : WindowFoot
        The foot and the plan that is varied.
    rulebook, limits, on : Rulebook, sequence of CaseLimit, date
        The rules, the vet's limits in their order, and the day whose limits count.
    ask : Ask
        Which plans, and which of the limits.

    Returns
    -------
    Trial
        Trims in mm square to the bearing surface, wedges in degrees, + heels up.

    Raises
    ------
    CoreError
        If the question cannot be asked (`grid_of`) or the plan not be predicted (`predict`).
    BadRule
        If a limit has no bound or no known strength.

    Notes
    -----
    u is that of the plan itself, held for all. Source: geometry.

    Examples
    --------
    >>> foot = WindowFoot(None, Measured(), Plan(), Profile("LF", "adult_horse", date(2026, 1, 1)))
    >>> limit = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=2.0)
    >>> ask = Ask((0.0, 3.0), (0.0, 0.0), 1.0, (0.0,))
    >>> trial_of(foot, Rulebook((), ""), [limit], date(2026, 1, 1), ask).passed.ravel().tolist()
    [True, True, True, False]
    """
    grid = grid_of(ask)
    outlook = outlook_of(foot.film, foot.stated, foot.plan, foot.profile, foot.own)
    inputs = _inputs(foot, prediction_of(outlook, foot.profile))
    claims, findings = claims_on(inputs, rulebook, limits, on)
    tested = tested_of(claims, ask)
    asked = dict.fromkeys((each.claim.stage, each.claim.measure) for each in tested)
    variants = grid.variants()
    tries = Tries(foot.plan, variants, predict_many(outlook, foot.profile, variants, asked))
    rows, unchecked = [], []
    for each in tested:
        found = quantities_of(each, inputs, tries)
        if isinstance(found, Unchecked):
            unchecked.append(found)
        else:
            rows.append((each, *verdicts_of(each, found)))
    shape = (len(rows), *tries.predictions.possible.shape)
    return Trial(
        outlook=outlook,
        inputs=inputs,
        grid=grid,
        tries=tries,
        tested=tuple(each for each, _, _ in rows),
        passed=np.array([within for _, within, _ in rows], bool).reshape(shape),
        not_outside=np.array([not_outside for _, _, not_outside in rows], bool).reshape(shape),
        unchecked=(*unchecked, *other_kinds(findings, ask)),
    )


def _inputs(foot: WindowFoot, prediction: Prediction) -> Inputs:
    """Return the foot as it is judged; a wedge said in degrees alone gets its height."""
    plan = foot.plan
    length = plan.wedge_length_mm or prediction.bearing_length_mm
    if plan.wedge_mm is None and (length or not plan.wedge_deg):
        height = float(wedge_height_mm(length, plan.wedge_deg)) if length else 0.0
        plan = replace(plan, wedge_mm=height)
    stages = {
        "now": prediction.now,
        "after_fit": prediction.after_fit,
        "at_due": prediction.at_due,
        "change": prediction.change,
    }
    return Inputs(foot.profile, MappingProxyType(stages), plan, facts=foot.facts, film=foot.film)
