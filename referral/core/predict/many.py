"""The readings expected of many variants of one plan at once: other trims, other wedges."""

import itertools
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from referral.core.geometry.points import Floats
from referral.core.measure.lateromedial import NEEDS, condyle_circle, lateromedial_readings
from referral.core.measure.readings import LENGTH_STATES_JUDGED, Profile
from referral.core.predict.film_day import length_doubt
from referral.core.predict.foot import Foot
from referral.core.predict.model import Model
from referral.core.predict.move import (
    P2_POINTS,
    PLAN_NUMBERS,
    mean_heel_trim_mm,
    plan_numbers,
)
from referral.core.predict.outcome import NUDGE, SAME
from referral.core.predict.plan import Plan
from referral.core.predict.possible import cannot_move, trims_possible
from referral.core.predict.prediction import FROM_LENGTHS, SHIFTS, Outlook
from referral.core.units import unit_of

Bools = NDArray[np.bool_]

TOE, HEEL, WEDGE = (
    PLAN_NUMBERS.index(name) for name in ("toe_trim_mm", "heel_trim_mm", "wedge_deg")
)
FRAME = frozenset(
    {
        "wall_proximal",
        "wall_distal",
        "heel_wall_proximal",
        "heel_wall_distal",
        "toe",
        "heel",
        "breakover",
    }
)
"""What a plan moves a foot by; every reading may need it."""

LENGTH = "turn:bearing_length_mm"


@dataclass(frozen=True, slots=True)
class Variants:
    """Plans that differ in trims and wedge: arrays of one shape (...), mm and degrees.

    ``heel_trim_mm`` is what comes off in the side view, the mean of both heels.
    """

    toe_trim_mm: Floats
    heel_trim_mm: Floats
    wedge_deg: Floats


@dataclass(frozen=True, slots=True)
class ManyReading:
    """One reading of every variant, shape (...), with the u it has at the plan itself.

    ``known`` says where it is predicted and, if a length, rests on a scale that is judged.
    """

    values: Floats
    u: float
    known: Bools


@dataclass(frozen=True, slots=True)
class ManyPredictions:
    """What many variants make of a foot, arrays of one shape (...).

    ``possible`` says which of them this foot could follow, ``bearing_length_mm`` is NaN where
    it is not known. ``readings`` holds those of the (stage, code) asked for that any plan on
    this foot can have.
    """

    possible: Bools
    bearing_length_mm: Floats
    readings: Mapping[tuple[str, str], ManyReading]


def variant_of(plan: Plan, toe_mm: float, heel_mm: float, wedge_deg: float) -> Plan:
    """Return the plan with other trims and another wedge, all else held.

    Parameters
    ----------
    plan : Plan
        The plan to vary. Heels that are trimmed apart stay as far apart.
    toe_mm, heel_mm : float
        Trims, mm; ``heel_mm`` is the mean of both heels.
    wedge_deg : float
        Wedge, + heels up; its height in mm is left out, since it follows from the angle.

    Examples
    --------
    >>> sides = Plan(heel_trim_medial_mm=4.0, heel_trim_lateral_mm=6.0)
    >>> varied = variant_of(sides, 1.0, 7.0, 0.0)
    >>> varied.heel_trim_medial_mm, varied.heel_trim_lateral_mm
    (6.0, 8.0)
    """
    shift = heel_mm - mean_heel_trim_mm(plan)
    medial, lateral = (
        None if side is None else side + shift
        for side in (plan.heel_trim_medial_mm, plan.heel_trim_lateral_mm)
    )
    one_sided = (medial is None) != (lateral is None)
    return replace(
        plan,
        toe_trim_mm=toe_mm,
        heel_trim_mm=plan.heel_trim_mm + shift if one_sided else heel_mm,
        heel_trim_medial_mm=medial,
        heel_trim_lateral_mm=lateral,
        wedge_deg=wedge_deg,
        wedge_mm=None,
    )


def predict_many(
    outlook: Outlook, profile: Profile, variants: Variants, asked: Collection[tuple[str, str]]
) -> ManyPredictions:
    """Return the readings asked for of many variants of one plan, in one pass.

    Parameters
    ----------
    outlook : Outlook
        The foot, and the plan whose variants are wanted.
    profile : Profile
        The foot's own limb, animal and day.
    variants : Variants
        The trims and wedges, each of shape (...).
    asked : collection of (str, str)
        Stage (``after_fit at_due change``) and code of the readings wanted.

    Returns
    -------
    ManyPredictions
        The values that `predict` gives for each variant, in degrees, mm and percent as the
        code ends; signs as in the registry. u is that of the plan itself, held for all.

    Notes
    -----
    The condyle centre is fitted once and moved as a point. Source: geometry.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Measured, Reading
    >>> from referral.core.predict.prediction import outlook_of
    >>> foot = Profile("LF", "adult_horse", date(2026, 11, 25))
    >>> said = Reading("palmar_angle_deg", 4.0, 0.72, "deg", "none", "stated")
    >>> outlook = outlook_of(None, Measured({"palmar_angle_deg": said}), Plan(), foot)
    >>> wedges = Variants(np.zeros(3), np.zeros(3), np.array([0.0, 2.0, 5.0]))
    >>> found = predict_many(outlook, foot, wedges, [("after_fit", "palmar_angle_deg")])
    >>> found.readings["after_fit", "palmar_angle_deg"].values.round(6).tolist()
    [4.0, 6.0, 9.0]
    """
    model = outlook.model
    possible = trims_possible(
        _horn(outlook), outlook.plan, variants.toe_trim_mm, variants.heel_trim_mm
    )
    if model is None:
        nowhere = np.full(possible.shape, np.nan)
        return ManyPredictions(possible, nowhere, MappingProxyType({}))
    had = [each for each in asked if _may_be_had(outlook, *each)]
    batch = _batch(model, variants, [code for _, code in had])
    values = batch.outputs(model.foot.x0)
    masks = _Masks(*_held(outlook, profile, variants), _steady(batch, values))
    lengths = {f"{stage}:{code}" for stage, code in had if unit_of(code) == "mm"}
    scaled = _scaled(batch, values, lengths) if outlook.film is None else {}
    readings = {}
    for stage, code in had:
        reading, state = _reading(outlook, stage, code, values)
        known = masks.known(f"{stage}:{code}")
        if unit_of(code) == "mm":
            known = known & scaled.get(f"{stage}:{code}", state in LENGTH_STATES_JUDGED)
        readings[stage, code] = replace(reading, known=reading.known & known)
    length = values[LENGTH]
    length = np.where(masks.movable & masks.steady[LENGTH], length, np.nan)
    return ManyPredictions(possible, length, MappingProxyType(readings))


@dataclass(frozen=True, slots=True)
class _Masks:
    """Where the foot can be moved, is the film's of the day, and hangs on nothing unknown."""

    movable: Bools
    same_day: Bools
    steady: Mapping[str, Bools]

    def known(self, key: str) -> Bools:
        known = self.movable & self.steady[key]
        return known & self.same_day if unit_of(key) in FROM_LENGTHS else known


@dataclass(frozen=True, slots=True)
class _Batch:
    """A model with the numbers (..., 8) of many plans, and the landmarks it takes to read them."""

    model: Model
    numbers: Floats
    names: frozenset[str]

    def outputs(self, foot_inputs: Floats) -> dict[str, Floats]:
        """Return ``stage:code`` -> values (...) of the foot that the inputs (n,) describe."""
        foot = self.model.foot
        bare = foot.bare(foot_inputs)
        circle = condyle_circle(bare)
        if circle is not None:
            bare = bare | {"condyle_centre": circle.centre}
        bare = {name: xy for name, xy in bare.items() if name in self.names}
        now = lateromedial_readings(foot.shown(foot_inputs))
        rates = self.model.inputs()[0][-2:]
        with np.errstate(divide="ignore", invalid="ignore"):  # such values are not known
            found = self.model.stages(bare, now, self.numbers, rates)
        shape = self.numbers.shape[:-1]
        return {key: np.broadcast_to(values, shape) for key, values in found.items()}


def _batch(model: Model, variants: Variants, codes: Collection[str]) -> _Batch:
    shape = variants.toe_trim_mm.shape
    rows = np.empty((len(PLAN_NUMBERS), *shape))
    rows[...] = plan_numbers(model.plan).reshape(-1, *[1] * len(shape))
    rows[TOE], rows[HEEL] = variants.toe_trim_mm, variants.heel_trim_mm
    rows[WEDGE] = variants.wedge_deg
    needed = {name for code in codes for need in NEEDS[code] for name in need.split("|")}
    if "p2_condyle" in needed or needed.intersection(P2_POINTS):
        needed.add("condyle_centre")
    if "p3_palmar_process" in needed:
        needed.add("p3_palmar_process_2")
    names = frozenset(needed - {"p2_condyle"}) | FRAME
    plain = replace(model, plan=replace(model.plan, wedge_mm=None))
    return _Batch(plain, np.moveaxis(rows, 0, -1), names)


def _horn(outlook: Outlook) -> Mapping[str, Floats]:
    """Return the landmarks that limit a trim; none where the foot has no millimetres."""
    film, model = outlook.film, outlook.model
    if film is None or model is None or film.scale_state == "none":
        return {}
    return model.foot.bare(model.foot.x0)


def _may_be_had(outlook: Outlook, stage: str, code: str) -> bool:
    is_read = f"{stage}:{code}" in outlook.found
    return not outlook.reasons.why_never(stage, code, is_read=is_read) and is_read


def _reading(
    outlook: Outlook, stage: str, code: str, values: Mapping[str, Floats]
) -> tuple[ManyReading, str]:
    """Return a reading and its scale; one stated in the film's place moves by the film's change."""
    outcome = outlook.found[f"{stage}:{code}"]
    value, u, state = values[f"{stage}:{code}"], outcome.u, outcome.scale_state
    said = outlook.reasons.now.readings.get(code)
    if stage in SHIFTS and outlook.film is not None and said is not None and said.instead_of_film:
        shift = f"{SHIFTS[stage]}:{code}"
        value, u = said.value + values[shift], math.hypot(said.u, outlook.found[shift].u)
        state = said.scale_state
    return ManyReading(value, u, np.isfinite(value) & math.isfinite(u)), state


def _held(outlook: Outlook, profile: Profile, variants: Variants) -> tuple[Bools, Bools]:
    """Return where the landmarks allow the variant, and where the film's lengths still hold.

    Both hang on whether anything is trimmed or wedged, not on how much.
    """
    film, foot = outlook.film, outlook.model.foot if outlook.model else None
    names = () if foot is None else foot.bare(foot.x0).keys()
    acts = (variants.toe_trim_mm != 0, variants.heel_trim_mm != 0, variants.wedge_deg != 0)
    movable, same_day = np.zeros(acts[0].shape, bool), np.zeros(acts[0].shape, bool)
    for pattern in itertools.product((0.0, 1.0), repeat=len(acts)):
        here = np.array([act == done for act, done in zip(acts, pattern, strict=True)]).all(axis=0)
        plan = variant_of(outlook.plan, *pattern)
        movable |= here & (not cannot_move(names, plan))
        same_day |= here & (film is None or not length_doubt(film, plan, profile))
    return movable, same_day


def _steady(batch: _Batch, values: Mapping[str, Floats]) -> dict[str, Bools]:
    """Return, by output, where it hangs on no input that nobody stated."""
    foot = batch.model.foot
    steady = {key: np.ones(array.shape, bool) for key, array in values.items()}
    for unknown in foot.unknowns:
        for other in unknown.others:
            inputs = foot.x0.copy()
            inputs[unknown.index] = other
            for key, moved in _moved(batch, values, inputs):
                steady[key] &= ~moved
    return steady


def _scaled(batch: _Batch, values: Mapping[str, Floats], keys: set[str]) -> dict[str, Bools]:
    """Return, by output, where every stated length it hangs on has a scale that is judged."""
    foot = batch.model.foot
    judged = {key: np.ones(values[key].shape, bool) for key in keys}
    some = {key: np.zeros(values[key].shape, bool) for key in keys}
    unjudged = [at for at, each in foot.length_states.items() if each not in LENGTH_STATES_JUDGED]
    others = [at for at in foot.length_states if at not in unjudged]
    for index in unjudged:
        for key, moved in _moved(batch, values, _nudged(foot, [index])):
            if key in keys:
                some[key] |= moved
                judged[key] &= ~moved
    # of the others it is enough that an output hangs on one: all are asked at once, and one by
    # one only where that leaves it open
    for indices in (others, *([index] for index in others)):
        if all(each.all() for each in some.values()):
            break
        for key, moved in _moved(batch, values, _nudged(foot, indices)):
            if key in keys:
                some[key] |= moved
    return {key: judged[key] & some[key] for key in keys}


def _nudged(foot: Foot, indices: Sequence[int]) -> Floats:
    """Return the foot's inputs with some nudged, together by no more than one of them alone.

    No two are nudged alike, so that what is a difference of two moves too.
    """
    inputs = foot.x0.copy()
    count = len(indices)
    inputs[list(indices)] += NUDGE * (1.0 - np.arange(count) / (2.0 * count)) / count
    return inputs


def _moved(
    batch: _Batch, values: Mapping[str, Floats], inputs: Floats
) -> Iterator[tuple[str, Bools]]:
    """Yield every output and where it changes when the foot has other inputs."""
    for key, array in batch.outputs(inputs).items():
        yield key, ~(np.abs(array - values[key]) <= SAME)
