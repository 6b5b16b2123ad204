"""Feet, readings and rules that the tests of judging are built from."""

from datetime import date

from referral.core.geometry.scale import Scale
from referral.core.measure.film import Film
from referral.core.measure.readings import Measured, Profile, Reading
from referral.core.predict.plan import Plan
from referral.core.rules.facts import Facts
from referral.core.rules.inputs import Inputs
from referral.core.rules.rule import Limit, Rule, Rulebook

DAY = date(2026, 11, 25)
SINCE = date(2020, 1, 1)
SOLE = "sole_depth_tip_mm"
ANGLE = "palmar_angle_deg"


def film(state, *, conflict=False, landmarks_mm=None):
    scale = Scale(state, None, None, 0.0, conflict)
    return Film("lateromedial", None, landmarks_mm, scale, None)


def reading(code, value, u=0.0, *, state="marker", basis="film"):
    unit = code.rsplit("_", 1)[-1]
    return Reading(code, value, u, unit, state, basis)


def measured(*readings, **absent):
    return Measured({each.code: each for each in readings}, absent)


def foot(limb="LF", animal="adult_horse", conditions=(), **parts):
    stages = parts.pop("stages", {})
    return Inputs(Profile(limb, animal, DAY, frozenset(conditions)), stages, **parts)


def after_fit(*readings, **parts):
    parts.setdefault("plan", Plan())
    return foot(stages={"after_fit": measured(*readings)}, **parts)


def tier(severity="caution", since=SINCE, unit="mm", **bound):
    return Limit(since, severity, "common practice", "a source", unit, **bound)


def threshold(*limits, rule_id="X01", measure=SOLE, stage="after_fit", **more):
    return Rule(
        rule_id, "Sole depth", "Leave more sole.", "threshold", stage, limits, measure, **more
    )


def book(*rules):
    return Rulebook(tuple(rules), "hash")


def only(judgement):
    (finding,) = judgement.findings
    return finding


SAID = Facts(
    red_flags=(), recheck_owner="vet", recheck_on=date(2027, 1, 6), plan_signed_on=date(2026, 11, 1)
)
