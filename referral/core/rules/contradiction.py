"""Limits of the vet's that no plan could meet together on this foot, whatever the shoe."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from referral.core.predict.plan import PAGE_EXECUTION_U, Plan, Shoe
from referral.core.rules.conflict import can_be_met, least_conflict
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask
from referral.core.rules.rule import Rulebook
from referral.core.rules.tested import STAGES_TESTED
from referral.core.rules.trial import WindowFoot, trial_of

SETBACKS_MM = (0.0, 10.0, 20.0, 30.0, 40.0)
EXTENSIONS_MM = (0.0, 10.0)
THICKNESS_MM = 10.0
USUAL_WEEKS = 6.0
OTHER_WEEKS = (4.0, 8.0)
CHOSEN = frozenset({"toe_dress_mm", "sole_pare_mm"})
"""What a plan says and these tries do not vary: the farrier simply chooses it."""

TRIED = Ask(step_mm=0.5, against="limits", include_should=True)
"""Trims to 10 mm and wedges to 5 degrees; the vet's own limits, musts and shoulds."""

CASE = "case:"
NO_RULES = Rulebook((), "")


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Limits that contradict each other on a foot, as places in the list of limits.

    ``limits`` is a set of least size, empty if some plan meets all; ``others`` says whether
    there is another conflict beside it. ``unchecked`` could not be held against any plan.
    """

    limits: tuple[int, ...]
    others: bool
    unchecked: tuple[int, ...]


def contradiction_of(foot: WindowFoot, limits: Sequence[CaseLimit], on: date) -> Contradiction:
    """Return which of the vet's limits no plan that is tried meets together.

    Parameters
    ----------
    foot : WindowFoot
        The foot; its plan says the day and nothing else, since there is none yet.
    limits : sequence of CaseLimit
        The limits on this foot's limb.
    on : date
        The day whose limits count.

    Returns
    -------
    Contradiction
        Barefoot and shod, with breakover set back by 0 to 40 mm and the shoe's heels 0 or 10 mm
        behind, for 4, 6 or 8 weeks and the vet's own number of them; trims 0 to 10 mm by half
        a millimetre, wedges 0 to 5 degrees. A limit is met only beyond doubt, by U = 2u, with
        the tolerances of the work in u. Without any one of its limits the rest can be met.

    Raises
    ------
    CoreError
        If the foot cannot be predicted at all.
    BadRule
        If a limit has no bound or no known strength.

    Notes
    -----
    What each set-up passes is put side by side and one least hitting set is looked for over
    all of it. Guard band after JCGM 106:2012. Source: geometry.

    Examples
    --------
    >>> from referral.core.measure.readings import Measured, Profile
    >>> foot = WindowFoot(None, Measured(), Plan(), Profile("LF", "adult_horse", date(2026, 1, 1)))
    >>> least = CaseLimit("heel_trim_mm", "after_fit", "must", at_least=6.0)
    >>> most = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=2.0)
    >>> contradiction_of(foot, [least, most], date(2026, 1, 1)).limits
    (0, 1)
    """
    places = [place for place, each in enumerate(limits) if _is_decided(each)]
    asked = [limits[place] for place in places]
    told, met = np.zeros(len(asked), bool), []
    for plan in _set_ups(foot.plan, asked):
        trial = trial_of(replace(foot, plan=plan), NO_RULES, asked, on, TRIED)
        rows = [int(rule.removeprefix(CASE)) for rule in trial.rules]
        told[rows] = True
        met.append(np.zeros((len(asked), int(trial.possible.sum())), bool))
        met[-1][rows] = trial.passed[:, trial.possible]
        if not trial.unchecked and can_be_met(met[-1]):
            return Contradiction((), others=False, unchecked=())
    # what one set-up cannot tell of a limit counts as not met by it: another may tell
    tellable = np.flatnonzero(told)
    together = np.concatenate(met, axis=1)[tellable]
    least = least_conflict(together)
    return Contradiction(
        limits=tuple(places[tellable[row]] for row in least),
        others=any(not can_be_met(np.delete(together, row, axis=0)) for row in least),
        unchecked=tuple(places[row] for row in np.flatnonzero(~told)),
    )


def _is_decided(limit: CaseLimit) -> bool:
    """Return whether trims, wedge, shoe and interval decide how a limit is met."""
    return limit.stage in STAGES_TESTED and limit.measure not in CHOSEN


def _set_ups(plan: Plan, limits: Sequence[CaseLimit]) -> Iterator[Plan]:
    """Yield the plans whose trims and wedges are tried, the usual ones first."""
    shoes = [
        Shoe("open", thickness_mm=THICKNESS_MM, breakover_setback_mm=back, heel_extension_mm=behind)
        for behind in EXTENSIONS_MM
        for back in SETBACKS_MM
    ]
    for weeks in _weeks(limits):
        for shoe in (*shoes, None):
            yield replace(plan, shoe=shoe, interval_weeks=weeks, execution_u=PAGE_EXECUTION_U)


def _weeks(limits: Sequence[CaseLimit]) -> tuple[float, ...]:
    """Return the intervals that can make a difference to these limits, the usual one first."""
    named = [
        bound
        for each in limits
        if each.measure == "interval_weeks"
        for bound in (each.at_least, each.at_most)
        if bound
    ]
    if not named and all(each.stage != "at_due" for each in limits):
        return (USUAL_WEEKS,)
    return tuple(dict.fromkeys([USUAL_WEEKS, *named, *OTHER_WEEKS]))
