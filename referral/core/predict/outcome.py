"""From a model of foot and plan to values with their uncertainty, and what they hang on."""

from dataclasses import dataclass

import numpy as np

from referral.core.geometry.points import Floats
from referral.core.measure.film import DRAWS, SEED
from referral.core.measure.lateromedial import CENTRE_READINGS
from referral.core.measure.uncertainty import first_order, monte_carlo
from referral.core.predict.model import Model

SAME = 1e-6
"""Values nearer than this, in mm, degrees or percent, are the same."""

NUDGE = 0.01
"""How far a stated length is moved, in mm, to see what is computed from it."""

WEAKEST_FIRST = ("unsaid", "none", "external", "estimated", "corrected", "marker", "foot_frame")
"""Scale states from the least to the most trusted; a result is as good as its weakest."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One output of the model: its value, u, what it lacks, and the scale it rests on."""

    value: float
    u: float
    wanted: tuple[str, ...]
    scale_state: str


def outcomes(model: Model) -> dict[str, Outcome]:
    """Return ``stage:code`` -> outcome for a foot and a plan.

    Returns
    -------
    dict of str to Outcome
        Values and u (k = 1) in the unit of the code. ``wanted`` names the unknown inputs
        that the value would depend on; only if it is empty is the value known.

    Raises
    ------
    DegenerateCircle, DegenerateLine
        As for `referral.core.measure.lateromedial.lateromedial_readings`.

    Notes
    -----
    Uncertainty: JCGM 100:2008 section 5, all inputs to all outputs in one function; a centre
    from a short arc by a seeded Monte Carlo, as when it is measured.

    Examples
    --------
    >>> from referral.core.measure.readings import Reading
    >>> from referral.core.predict.growth import WALL_GROWTH_MM
    >>> from referral.core.predict.plan import Plan
    >>> from referral.core.predict.rebuild import stated_foot
    >>> angle = Reading("palmar_angle_deg", 4.0, 0.72, "deg", "none", "stated")
    >>> foot = stated_foot({"palmar_angle_deg": angle})
    >>> found = outcomes(Model(foot, Plan(wedge_deg=3.0), WALL_GROWTH_MM, None, None))
    >>> after = found["after_fit:palmar_angle_deg"]
    >>> round(after.value, 6), round(after.u, 2), after.wanted
    (7.0, 0.72, ())
    """
    x0, u = model.inputs()
    with np.errstate(divide="ignore", invalid="ignore"):  # such values are absent, with a reason
        values = first_order(model, x0, u)
        if model.foot.is_arc_short and u.any():
            drawn = monte_carlo(model, x0, u, DRAWS, np.random.default_rng(SEED))
            values |= {key: drawn[key] for key in drawn if key.split(":")[1] in CENTRE_READINGS}
        wanted = _wanted(model, x0)
        states = _states(model, x0)
    return {
        key: Outcome(value, spread, wanted.get(key, ()), states.get(key, model.foot.scale_state))
        for key, (value, spread) in values.items()
    }


def _wanted(model: Model, x0: Floats) -> dict[str, tuple[str, ...]]:
    """Return, by output, the unknown inputs it changes with."""
    tries = [
        (known.index, other, known.wanted)
        for known in model.foot.unknowns
        for other in known.others
    ]
    changed = _changed(model, x0, [(index, other) for index, other, _ in tries])
    return {
        key: tuple(sorted({name for (_, _, name), moved in zip(tries, rows, strict=True) if moved}))
        for key, rows in changed.items()
    }


def _states(model: Model, x0: Floats) -> dict[str, str]:
    """Return, by output, the weakest scale state among the stated lengths it changes with."""
    lengths = list(model.foot.length_states.items())
    changed = _changed(model, x0, [(index, x0[index] + NUDGE) for index, _ in lengths])
    weakest = {}
    for key, rows in changed.items():
        used = [state for (_, state), moved in zip(lengths, rows, strict=True) if moved]
        if used:
            weakest[key] = min(used, key=WEAKEST_FIRST.index)
    return weakest


def _changed(model: Model, x0: Floats, tries: list[tuple[int, float]]) -> dict[str, list[bool]]:
    """Return, by output, whether it changes when one input takes another value."""
    if not tries:
        return {}
    inputs = np.broadcast_to(x0, (len(tries) + 1, len(x0))).copy()
    for row, (index, other) in enumerate(tries, start=1):
        inputs[row, index] = other
    rows = {
        key: np.broadcast_to(values, (len(tries) + 1,)) for key, values in model(inputs).items()
    }
    return {key: (~(np.abs(row[1:] - row[0]) <= SAME)).tolist() for key, row in rows.items()}
