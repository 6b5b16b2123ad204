"""What a prediction takes for granted, in plain sentences."""

from referral.core.measure.readings import Caveat, Profile
from referral.core.predict.growth import FORELIMBS, Rate
from referral.core.predict.joints import JOINT_SOURCE, STUDIED_DEG, joint_cost
from referral.core.predict.model import Model
from referral.core.predict.move import PLAN_NUMBERS, bearing_ends, mean_heel_trim_mm, plan_numbers

RIGID = "The hoof turns as one rigid piece on a firm, level surface."
HEEL_AS_TOE = "No heel wall is given: the heels are taken to slope like the dorsal wall."
WEDGE_FROM_HEIGHT = "The wedge's angle is worked out from its height and length."
MEAN_HEEL = "The side view uses the mean of the inside and the outside heel trim."
LEVER = "A breakover set back is a shorter lever; that it lowers the force has not been shown."
SOLE = "Growth of the sole is not counted on."
SETBACK = PLAN_NUMBERS.index("setback_mm")
JOINTS_VARY = "joint_response_varies"


def assumptions_of(model: Model, lift_deg: float | None) -> tuple[str, ...]:
    """Return the sentences that a prediction rests on, in a fixed order.

    Parameters
    ----------
    model : Model
        Foot, plan and rates.
    lift_deg : float or None
        Total turn of the hoof, + heels up; ``None`` if not known.

    Examples
    --------
    >>> from referral.core.predict.growth import WALL_GROWTH_MM
    >>> from referral.core.predict.plan import Plan
    >>> from referral.core.predict.rebuild import stated_foot
    >>> assumptions_of(Model(stated_foot({}), Plan(), WALL_GROWTH_MM, None, None), 0.0)[0]
    'There is no film: the foot is rebuilt from stated readings.'
    """
    sides = (model.plan.heel_trim_medial_mm, model.plan.heel_trim_lateral_mm)
    grows = model.weeks is not None or model.weeks_before > 0
    drift = model.drift if model.weeks is not None else None
    sentences = (
        (HEEL_AS_TOE, _takes_heel_as_toe(model)),
        (MEAN_HEEL, any(side is not None for side in sides)),
        (WEDGE_FROM_HEIGHT, model.plan.wedge_mm and model.plan.wedge_deg == 0),
        (LEVER, plan_numbers(model.plan)[SETBACK] > 0),
        (joint_cost(lift_deg or 0.0), lift_deg),
        (f"The walls grew for {model.weeks_before:.1f} weeks since the film.", model.weeks_before),
        (_rate("The wall grows", "mm", model.growth), grows),
        (SOLE, grows),
        (_rate("The palmar angle drifts", "degrees", drift), drift),
    )
    held = (sentence for sentence, holds in sentences if holds)
    return (*model.foot.assumptions, RIGID, *held)


def caveats_of(lift_deg: float | None, profile: Profile, lengths: str) -> tuple[Caveat, ...]:
    """Return the warnings beside a prediction.

    Parameters
    ----------
    lift_deg : float or None
        Total turn of the hoof, + heels up.
    profile : Profile
        The foot.
    lengths : str
        Why lengths are not predicted; empty if they are.

    Examples
    --------
    >>> from datetime import date
    >>> foot = Profile("LF", "adult_horse", date(2026, 1, 1))
    >>> [caveat.code for caveat in caveats_of(3.0, foot, "")]
    ['joint_response_varies']
    """
    found = []
    if lengths:
        found.append(Caveat("film_day", f"Lengths are not predicted: {lengths}."))
    if not lift_deg:
        return tuple(found)
    text = (
        f"How the joints answer varies between horses; the figures are from {JOINT_SOURCE}."
        if profile.limb in FORELIMBS
        else "How the joints of a hind foot answer has not been measured; nothing is said of it."
    )
    found.append(Caveat(JOINTS_VARY, text))
    if abs(lift_deg) > STUDIED_DEG:
        text = f"The turn of {lift_deg:.1f} degrees is beyond the 15 degrees that were studied."
        found.append(Caveat("beyond_study", text))
    return tuple(found)


def _takes_heel_as_toe(model: Model) -> bool:
    trims = mean_heel_trim_mm(model.plan) != 0 or model.weeks_before > 0
    ends = bearing_ends(model.foot.bare(model.foot.x0))
    return trims and ends.heel_run is None


def _rate(what: str, unit: str, rate: Rate | None) -> str:
    if rate is None:
        return ""
    return f"{what} {rate.per_week:.2g} {unit} a week ({rate.evidence}): {rate.source}."
