"""How a foot changes between two resets: the figures, where they come from, how sure they are."""

import math
from dataclasses import dataclass

from referral.core.errors import NotFinite
from referral.core.measure.readings import Profile
from referral.core.predict.plan import Plan


@dataclass(frozen=True, slots=True)
class Rate:
    """A change per week with its relative standard uncertainty and where it is from.

    ``evidence`` is one of ``published``, ``common practice``, ``from memory``,
    ``own resets``.
    """

    per_week: float
    relative_u: float
    evidence: str
    source: str


WALL_GROWTH_MM = Rate(
    per_week=2.1,
    relative_u=0.19,
    evidence="published",
    source=(
        "Kolstrung 2012, Med Weter 68:426 (seven barefoot mares, spring and summer); its spread "
        "here from the trade range of 6 to 12 mm a month taken as rectangular, common practice"
    ),
)
"""Growth along the dorsal wall of an adult, mm per week."""

PALMAR_ANGLE_DRIFT_DEG = Rate(
    per_week=-0.41,
    relative_u=0.5,
    evidence="from memory",
    source=(
        "derived from -3.3 deg of hoof angle in eight weeks, shod forefeet (van Heel 2006, "
        "AJVR 67:1199), taken as palmar angle; its spread is a guess, no source"
    ),
)
"""Change of the palmar angle of a shod, healthy adult forefoot, degrees per week."""

FORELIMBS = frozenset({"LF", "RF"})


@dataclass(frozen=True, slots=True)
class OwnRates:
    """What the horse's own resets say; ``None`` where they do not say it."""

    wall_growth_mm: Rate | None = None
    palmar_angle_drift_deg: Rate | None = None


def wall_growth_mm(weeks: float, rate: Rate = WALL_GROWTH_MM) -> float:
    """Return the growth of the dorsal wall along itself, in mm.

    Parameters
    ----------
    weeks : float
        Time since the reset.
    rate : Rate
        Growth per week in mm.

    Raises
    ------
    NotFinite
        If ``weeks`` is NaN or infinite.

    Notes
    -----
    Source: Kolstrung 2012, Med Weter 68:426 (2.1 mm per week).

    Examples
    --------
    >>> round(wall_growth_mm(6), 1)
    12.6
    """
    if not math.isfinite(weeks):
        raise NotFinite("The number of weeks is not a number.", at="weeks")
    return rate.per_week * weeks


def breakover_drift_mm(weeks: float, wall_angle_deg: float, rate: Rate = WALL_GROWTH_MM) -> float:
    """Return how far growth carries the toe and the breakover forward, in mm (+ forward).

    Parameters
    ----------
    weeks : float
        Time since the reset.
    wall_angle_deg : float
        Dorsal wall to the ground.
    rate : Rate
        Growth per week in mm.

    Raises
    ------
    NotFinite
        If a number is NaN or infinite.

    Notes
    -----
    The foot grows along its dorsal wall, so the ground contact moves by growth x cos S.
    Source: geometry.

    Examples
    --------
    >>> round(breakover_drift_mm(8, 52.0), 1)
    10.3
    """
    if not math.isfinite(wall_angle_deg):
        raise NotFinite("The wall angle is not a number.", at="wall_angle_deg")
    return wall_growth_mm(weeks, rate) * math.cos(math.radians(wall_angle_deg))


def palmar_angle_rate(profile: Profile, plan: Plan, own: OwnRates) -> Rate | str:
    """Return the drift of the palmar angle that holds for this foot, or why there is none.

    Returns
    -------
    Rate or str
        The horse's own rate if its resets say one; else the shipped rate for a shod
        adult forefoot with neither laminitis nor club foot; else the reason.

    Notes
    -----
    Barefoot the angle rises between trims (Malone & Davies 2019, Animals 9:1017), so the
    figure of shod feet does not carry over.

    Examples
    --------
    >>> from datetime import date
    >>> foot = Profile("LF", "adult_horse", date(2026, 1, 1))
    >>> palmar_angle_rate(foot, Plan(), OwnRates())
    'no growth model for a bare foot: the horse needs two resets of its own'
    """
    if own.palmar_angle_drift_deg is not None:
        return own.palmar_angle_drift_deg
    kind = _kind_without_model(profile, plan)
    if kind:
        return f"no growth model for {kind}: the horse needs two resets of its own"
    return PALMAR_ANGLE_DRIFT_DEG


def _kind_without_model(profile: Profile, plan: Plan) -> str:
    if profile.animal != "adult_horse":
        return "this animal"
    if profile.limb not in FORELIMBS:
        return "a hind foot"
    if plan.shoe is None:
        return "a bare foot"
    if any("laminitis" in condition for condition in profile.conditions):
        return "a foot with laminitis"
    if any("club" in condition for condition in profile.conditions):
        return "a club foot"
    return ""
