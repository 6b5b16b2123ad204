"""The window: which trims and wedges would meet every limit, and which limits forbid any."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from referral.core.predict.many import variant_of
from referral.core.predict.move import mean_heel_trim_mm
from referral.core.predict.plan import Plan
from referral.core.predict.prediction import Outlook
from referral.core.predict.wedge import wedge_height_mm
from referral.core.rules.conflict import can_be_met, least_conflict
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask
from referral.core.rules.guard import decide
from referral.core.rules.region import Region, Slice, region_of
from referral.core.rules.rule import Rulebook
from referral.core.rules.tested import Unchecked
from referral.core.rules.threshold import claimed_quantity
from referral.core.rules.trial import Trial, WindowFoot, trial_of

__all__ = ["Nearest", "Window", "WindowFoot", "solve_window"]

TRIM_TOLERANCE_MM = 2.0
WEDGE_TOLERANCE_DEG = 0.5
"""What a change is measured in: the agreed tolerances between plan and fitting."""

SAME_DISTANCE = 1e-9
NOTHING_TESTED = "No limit on this foot was tested."


@dataclass(frozen=True, slots=True)
class Nearest:
    """The compliant plan nearest to the farrier's, and the sum of its changes in tolerances."""

    plan: Plan
    distance: float


@dataclass(frozen=True, slots=True)
class Window:
    """What would meet every tested limit.

    ``feasible`` is ``None``, and ``why`` says why, if a must or breach rule cannot be checked
    or nothing is tested; the regions then hold for what was tested. ``conflict`` names limits
    that contradict each other, a set of least size, empty if any plan meets all; whether
    there are ``other_conflicts`` is said. ``plan_inside`` is ``None`` where only what cannot
    be checked is in doubt.
    """

    feasible: bool | None
    why: str | None
    regions: tuple[Region, ...]
    plan_inside: bool | None
    nearest: Nearest | None
    conflict: tuple[str, ...]
    other_conflicts: bool
    unchecked: tuple[Unchecked, ...]
    tested: tuple[str, ...]


def solve_window(
    foot: WindowFoot,
    rulebook: Rulebook,
    limits: Sequence[CaseLimit],
    on: date,
    ask: Ask | None = None,
) -> Window:
    """Return which trims and wedges meet every limit, with the rest of the plan held.

    Parameters
    ----------
    foot : WindowFoot
        The foot and the farrier's plan.
    rulebook : Rulebook
        Rules whose bounds of breach level are tested too, if asked against ``all``.
    limits : sequence of CaseLimit
        The vet's limits, in the order in which they are numbered.
    on : date
        The day whose limits count.
    ask : Ask, optional
        Ranges, step, wedges; the usual ones if left out.

    Returns
    -------
    Window
        Trims in mm square to the bearing surface, wedges in degrees, + heels up. A plan is
        inside when each limit, at its own stage, is WITHIN; u is that of the farrier's plan.
        A plan that this foot could not follow is outside.

    Raises
    ------
    CoreError
        If the question cannot be asked (`grid_of`) or the plan not be predicted (`predict`).
    BadRule
        If a limit has no bound or no known strength.

    Notes
    -----
    Guard band U = 2u after JCGM 106:2012. Source: geometry.

    Examples
    --------
    >>> from referral.core.measure.readings import Measured, Profile
    >>> foot = WindowFoot(None, Measured(), Plan(), Profile("LF", "adult_horse", date(2026, 1, 1)))
    >>> limit = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=2.0)
    >>> window = solve_window(foot, Rulebook((), ""), [limit], date(2026, 1, 1))
    >>> window.feasible, window.regions[0].heel_trim_mm
    (True, (0.0, 2.0))
    """
    trial = trial_of(foot, rulebook, limits, on, ask or Ask())
    why = _why(trial)
    compliant = _is_compliant(trial)
    conflict, other_conflicts = _conflict(trial)
    return Window(
        feasible=None if why else bool(trial.inside.any()),
        why=why,
        regions=_regions(trial, foot.plan.wedge_length_mm or _bearing_length_mm(trial.outlook)),
        plan_inside=None if compliant and why else compliant,
        nearest=Nearest(foot.plan, 0.0)
        if compliant
        else _nearest(trial, _wedge_deg(trial.outlook)),
        conflict=conflict,
        other_conflicts=other_conflicts,
        unchecked=trial.unchecked,
        tested=trial.rules,
    )


def _bearing_length_mm(outlook: Outlook) -> float | None:
    length = outlook.found.get("turn:bearing_length_mm")
    return None if length is None or length.wanted or math.isnan(length.value) else length.value


def _wedge_deg(outlook: Outlook) -> float:
    """Return the farrier's wedge, worked out from its height if only that is said."""
    lift, phi = (outlook.found.get(f"turn:{name}") for name in ("lift_deg", "phi_deg"))
    plan = outlook.plan
    if plan.wedge_deg or not plan.wedge_mm or lift is None or phi is None:
        return plan.wedge_deg
    return lift.value - phi.value


def _why(trial: Trial) -> str | None:
    musts = [each for each in trial.unchecked if each.is_must]
    if musts:
        names = "; ".join(f"{each.rule}: {each.reason.sentence}" for each in musts)
        return f"What must be met cannot all be checked ({names})."
    return None if trial.tested else NOTHING_TESTED


def _is_compliant(trial: Trial) -> bool:
    """Return whether the farrier's own plan is WITHIN every tested limit."""
    for each in trial.tested:
        found = claimed_quantity(each.claim, trial.inputs)
        if found.reason is not None or found.value is None or found.u is None:
            return False
        if any(decide(found.value, found.u, bound) != "WITHIN" for bound in each.bounds):
            return False
    return True


def _regions(trial: Trial, length_mm: float | None) -> tuple[Region, ...]:
    regions = []
    for index, wedge in enumerate(trial.grid.wedge_deg.tolist()):
        height = float(wedge_height_mm(length_mm, wedge)) if length_mm else None
        part = Slice(trial.possible[index], trial.passed[:, index], trial.not_outside[:, index])
        regions.append(region_of(trial.grid, index, height, part, trial.rules))
    return tuple(regions)


def _nearest(trial: Trial, wedge_deg: float) -> Nearest | None:
    """Return the nearest plan inside; of several the one with least wedge, then least trim."""
    places = np.argwhere(trial.inside)
    if not len(places):
        return None
    plan, variants = trial.tries.plan, trial.tries.variants
    here = tuple(places.T)
    wedges, heels, toes = (
        each[here] for each in (variants.wedge_deg, variants.heel_trim_mm, variants.toe_trim_mm)
    )
    trims = np.abs(heels - mean_heel_trim_mm(plan)) + np.abs(toes - plan.toe_trim_mm)
    distances = trims / TRIM_TOLERANCE_MM + np.abs(wedges - wedge_deg) / WEDGE_TOLERANCE_DEG
    nearest = np.flatnonzero(distances <= distances.min() + SAME_DISTANCE)
    row = min(nearest.tolist(), key=lambda row: (abs(wedges[row]), wedges[row], *places[row]))
    found = variant_of(plan, float(toes[row]), float(heels[row]), float(wedges[row]))
    height = float(trial.tries.wedge_mm[here][row])
    if not math.isnan(height):
        found = replace(found, wedge_mm=height)
    return Nearest(found, float(distances[row]))


def _conflict(trial: Trial) -> tuple[tuple[str, ...], bool]:
    """Return a contradictory set of least size, and whether there is another conflict."""
    passed = trial.passed[:, trial.possible]
    rows = least_conflict(passed)
    others = any(not can_be_met(np.delete(passed, row, axis=0)) for row in rows)
    return tuple(trial.rules[row] for row in rows), others
