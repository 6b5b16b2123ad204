"""From a foot and a plan to the readings after fit and at the due date."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.measure.film import Film, measure
from referral.core.measure.lateromedial import NEEDS, condyle_circle, lateromedial_absent
from referral.core.measure.readings import Caveat, Measured, Profile, Reading
from referral.core.measure.stated import merge
from referral.core.predict.explain import assumptions_of, caveats_of
from referral.core.predict.film_day import film_doubt, length_doubt, weeks_grown
from referral.core.predict.foot import Foot, film_foot
from referral.core.predict.growth import (
    FORELIMBS,
    WALL_GROWTH_MM,
    OwnRates,
    Rate,
    palmar_angle_rate,
)
from referral.core.predict.joints import joint_response
from referral.core.predict.model import FORECAST, Model
from referral.core.predict.outcome import Outcome, outcomes
from referral.core.predict.plan import Plan
from referral.core.predict.possible import (
    NO_WALL,
    cannot_move,
    check_foot,
    check_plan,
    marked_level,
)
from referral.core.predict.rebuild import STATED, stated_foot
from referral.core.units import unit_of

NO_RATES = OwnRates()
SOLE = frozenset({"p3_tip", "sole_under_tip"})
PREDICTED = ("after_fit", "at_due", "change")
SHIFTS = MappingProxyType({"after_fit": "change", "at_due": "change_at_due"})
"""Where a stated value takes the film's place, it moves by the change of the film's foot."""

FROM_LENGTHS = frozenset({"mm", "percent"})
"""Units of what an old film cannot give: lengths, and shares of lengths."""

NO_GROUND = "needs ground_palmar and ground_dorsal, and p3_tip above them"
NO_INTERVAL = "needs plan.interval_weeks"
NO_MODEL = "no growth model"


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a plan makes of a foot.

    ``now`` is what was measured and stated; ``after_fit`` and ``at_due`` are the readings
    expected, ``change`` after fit minus now. ``phi_deg`` is the turn by the trim alone
    (+ heels up), ``bearing_length_mm`` the trimmed bearing surface, ``weeks`` the interval;
    each ``None`` when not known. ``joints`` (degrees, by `joint_response`) is information.
    """

    now: Measured
    after_fit: Measured
    at_due: Measured
    change: Measured
    phi_deg: float | None
    bearing_length_mm: float | None
    weeks: float | None
    joints: Mapping[str, float]
    assumptions: tuple[str, ...]
    warnings: tuple[Caveat, ...]


@dataclass(frozen=True, slots=True)
class Reasons:
    """What is needed to say why a predicted reading is absent."""

    now: Measured
    names: frozenset[str]
    is_filmed: bool
    lengths: str
    drift: str
    weeks: float | None

    def why(self, stage: str, code: str, outcome: Outcome | None) -> str:
        """Return why a reading of a stage is absent; empty if it is there."""
        never = self.why_never(stage, code, is_read=outcome is not None)
        if never or outcome is None:
            return never
        if outcome.wanted:
            return "needs " + " and ".join(outcome.wanted)
        if self.lengths and unit_of(code) in FROM_LENGTHS:
            return self.lengths
        known = math.isfinite(outcome.value) and math.isfinite(outcome.u)
        return "" if known else "the lines it is read between do not meet"

    def why_never(self, stage: str, code: str, *, is_read: bool) -> str:
        """Return why no plan on this foot has the reading; empty if one may have it.

        ``is_read`` says whether the model gives it a value.
        """
        late = self._why_late(code) if stage == "at_due" else ""
        if late or not is_read:
            return late or self._why_unread(code)
        if stage == "change" and self.is_filmed and code not in self.now.readings:
            return self.now.absent.get(code, "")
        return ""

    def _why_late(self, code: str) -> str:
        if self.weeks is None:
            return NO_INTERVAL
        if code.startswith("sole_depth"):
            return f"{NO_MODEL}: growth of the sole is not counted on"
        if code not in FORECAST:
            return NO_MODEL
        return self.drift if code == "palmar_angle_deg" else ""

    def _why_unread(self, code: str) -> str:
        if code not in NEEDS:
            return "a side view does not show it"
        needed = lateromedial_absent(self.names).get(code)
        if needed is None:
            return NO_WALL
        if self.is_filmed:
            return needed
        if code in STATED:
            return f"needs {code}, stated or from a film"
        return f"cannot be rebuilt from stated readings: {needed}"


@dataclass(frozen=True, slots=True)
class Outlook:
    """A foot and a plan as one model, with every output of it at the plan.

    ``model`` is ``None`` where nothing can be predicted, and ``doubt`` says why.
    """

    plan: Plan
    film: Film | None
    reasons: Reasons
    model: Model | None
    found: Mapping[str, Outcome]
    doubt: str = ""


def predict(
    film: Film | None,
    stated: Measured,
    plan: Plan,
    profile: Profile,
    own: OwnRates = NO_RATES,
) -> Prediction:
    """Return the readings expected after a plan, each with its standard uncertainty.

    Parameters
    ----------
    film : Film or None
        The film that the plan starts from; its readings are judged before stated ones.
    stated : Measured
        Readings stated by hand; without a film the foot is rebuilt from them.
    plan : Plan
        What is to be done; its ``execution_u`` says how well.
    profile : Profile
        The foot, which decides whether the shipped growth figures hold for it.
    own : OwnRates
        Rates of change from the horse's own resets, where there are any.

    Returns
    -------
    Prediction
        Angles in degrees, lengths in mm in the foot frame, signs as in the registry of
        measures. What cannot be predicted is absent with its reason.

    Raises
    ------
    ImpossiblePlan
        If no foot, or not this foot, could follow the plan.
    NotFinite
        If a number of the plan is NaN or infinite.
    CoreError
        If the film's landmarks cannot be used.

    Notes
    -----
    The film's landmarks are moved and read by the same code as the film's readings. Source:
    geometry; growth as in `referral.core.predict.growth`.

    Examples
    --------
    >>> from datetime import date
    >>> angle = Reading("palmar_angle_deg", 4.0, 0.72, "deg", "none", "stated")
    >>> foot = Profile("LF", "adult_horse", date(2026, 11, 25))
    >>> stated = Measured({"palmar_angle_deg": angle})
    >>> found = predict(None, stated, Plan(wedge_deg=3.0), foot)
    >>> round(found.after_fit.readings["palmar_angle_deg"].value, 2)
    7.0
    """
    return prediction_of(outlook_of(film, stated, plan, profile, own), profile)


def outlook_of(
    film: Film | None,
    stated: Measured,
    plan: Plan,
    profile: Profile,
    own: OwnRates = NO_RATES,
) -> Outlook:
    """Return the foot and the plan as one model, with every output of it.

    Parameters and errors are those of `predict`, which makes readings of it; one outlook also
    serves many variants of the plan.

    Examples
    --------
    >>> from datetime import date
    >>> foot = Profile("LF", "adult_horse", date(2026, 11, 25))
    >>> outlook = outlook_of(None, Measured(), Plan(heel_trim_mm=2.0), foot)
    >>> outlook.model is None, outlook.doubt
    (True, 'needs the dorsal wall: wall_proximal and wall_distal, or dorsal_wall_angle_deg stated')
    """
    check_plan(plan)
    now = merge(Measured() if film is None else measure(film), stated)
    foot, doubt = _foot(film, stated, plan)
    drift = palmar_angle_rate(profile, plan, own)
    reasons = Reasons(
        now=now,
        names=frozenset() if foot is None else _usable_names(foot),
        is_filmed=film is not None,
        lengths="" if film is None else length_doubt(film, plan, profile),
        drift=drift if isinstance(drift, str) else "",
        weeks=plan.interval_weeks,
    )
    if foot is None:
        return Outlook(plan, film, reasons, None, MappingProxyType({}), doubt)
    model = Model(
        foot,
        plan,
        own.wall_growth_mm or WALL_GROWTH_MM,
        drift if isinstance(drift, Rate) else None,
        plan.interval_weeks,
        weeks_grown(film, plan, profile),
    )
    return Outlook(plan, film, reasons, model, MappingProxyType(outcomes(model)))


def prediction_of(outlook: Outlook, profile: Profile) -> Prediction:
    """Return the readings that an outlook promises, and what they rest on.

    Examples
    --------
    >>> from datetime import date
    >>> foot = Profile("LF", "adult_horse", date(2026, 11, 25))
    >>> outlook = outlook_of(None, Measured(), Plan(wedge_deg=3.0), foot)
    >>> prediction_of(outlook, foot).after_fit.absent["palmar_angle_deg"]
    'needs palmar_angle_deg, stated or from a film'
    """
    found, reasons, plan = outlook.found, outlook.reasons, outlook.plan
    if outlook.model is None:
        return _nothing(reasons.now, plan, outlook.doubt)
    stages = {stage: _stage(stage, found, reasons) for stage in PREDICTED}
    phi, lift, length = (
        _known(found, name) for name in ("phi_deg", "lift_deg", "bearing_length_mm")
    )
    return Prediction(
        reasons.now,
        **stages,
        phi_deg=phi,
        bearing_length_mm=length,
        weeks=plan.interval_weeks,
        joints=_joints(lift, profile),
        assumptions=assumptions_of(outlook.model, lift),
        warnings=caveats_of(lift, profile, reasons.lengths),
    )


def _foot(film: Film | None, stated: Measured, plan: Plan) -> tuple[Foot | None, str]:
    """Return the foot to start from, or why there is none; refuse what it could not follow."""
    level = ""
    if film is None:
        foot = stated_foot(stated.readings)
        points = foot.bare(foot.x0)
        sole = {name: xy for name, xy in points.items() if name in SOLE}
        check_foot(sole, plan)
    else:
        doubt = film_doubt(film)
        found = None if doubt else film_foot(film)
        if found is None:
            return None, doubt or NO_GROUND
        foot, points = found, found.bare(found.x0)
        level = marked_level(points)
        if film.scale_state != "none" and not level:
            check_foot(points, plan)
    stuck = level or cannot_move(points, plan)
    return (None, stuck) if stuck else (foot, "")


def _nothing(now: Measured, plan: Plan, reason: str) -> Prediction:
    absent = Measured(absent=MappingProxyType(dict.fromkeys([*NEEDS, *now.readings], reason)))
    warnings = (Caveat("not_predicted", f"Nothing is predicted: {reason}."),)
    return Prediction(
        now,
        absent,
        absent,
        absent,
        None,
        None,
        plan.interval_weeks,
        MappingProxyType({}),
        (),
        warnings,
    )


def _usable_names(foot: Foot) -> frozenset[str]:
    points = foot.bare(foot.x0)
    few = {"p2_condyle"} if "p2_condyle" in points and condyle_circle(points) is None else set()
    return frozenset(points.keys() - few)


def _known(found: Mapping[str, Outcome], name: str) -> float | None:
    turn = found[f"turn:{name}"]
    return None if turn.wanted or not math.isfinite(turn.value) else turn.value


def _joints(lift_deg: float | None, profile: Profile) -> Mapping[str, float]:
    """Return what the joints may do; the study was of forefeet, so nothing of hind feet."""
    if lift_deg is None or profile.limb not in FORELIMBS:
        return MappingProxyType({})
    return joint_response(lift_deg)


def _stage(stage: str, found: Mapping[str, Outcome], reasons: Reasons) -> Measured:
    readings, absent = {}, {}
    for code in dict.fromkeys([*NEEDS, *reasons.now.readings]):
        outcome = found.get(f"{stage}:{code}")
        why = reasons.why(stage, code, outcome)
        if why or outcome is None:
            absent[code] = why
            continue
        value, u, state = outcome.value, outcome.u, outcome.scale_state
        said = reasons.now.readings.get(code)
        if stage in SHIFTS and said is not None and said.instead_of_film and reasons.is_filmed:
            shift = found[f"{SHIFTS[stage]}:{code}"]
            value, u = said.value + shift.value, math.hypot(said.u, shift.u)
            state = said.scale_state
        readings[code] = Reading(code, value, u, unit_of(code) or "", state, "predicted")
    return Measured(MappingProxyType(readings), MappingProxyType(absent))
