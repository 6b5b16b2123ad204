"""Fitted as signed: the plan was signed by the day of fitting, and followed or explained."""

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from referral.core.measure.readings import Reading
from referral.core.rules.deviations import Difference, differences
from referral.core.rules.finding import Finding
from referral.core.rules.guard import Bound
from referral.core.rules.inputs import Inputs, Setting
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule
from referral.core.rules.threshold import answers
from referral.core.rules.wording import shown, with_unit
from referral.core.units import unit_of

FITTED_ANGLE = "palmar_angle_deg"
STANDING = frozenset({"interval_weeks", "surface"})
"""What is not fitted and stands as planned unless said otherwise."""


def judge_fitting(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding] | None:
    """Return the finding on the signature, and one for every unexplained difference.

    Without facts the signature is left out, without an as-fitted record the
    comparison is; ``None`` if nothing is left.

    Examples
    --------
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan
    >>> from referral.core.rules.deviations import AGREED
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-", tolerance=AGREED)
    >>> rule = Rule("X06", "Fitted", "Say why.", "pattern", "as_fitted", (limit,))
    >>> foot = Inputs(
    ...     Profile("LF", "adult_horse", date(2026, 2, 1)), {}, Plan(), Plan(heel_trim_mm=3.0)
    ... )
    >>> finding, = judge_fitting(rule, (limit,), Setting(foot, date(2026, 2, 1)))
    >>> finding.measure, finding.value, finding.verdict
    ('heel_trim_mm', 3.0, 'OUTSIDE')
    """
    found = [
        *_signature(rule, limits[0], setting),
        *_comparison(rule, limits[0], setting.inputs),
    ]
    return found or None


def _signature(rule: Rule, limit: Limit, setting: Setting) -> Iterator[Finding]:
    facts = setting.inputs.facts
    if setting.inputs.plan is None or (facts is None and not setting.complete):
        return
    signed = facts.plan_signed_on if facts else None
    fitted = _fitted_on(setting)
    if signed is None:
        yield outcome(rule, limit, "CANNOT_TELL", Reason.MISSING_FACT, "day of the vet's signature")
    elif fitted is None:
        yield outcome(rule, limit, "CANNOT_TELL", Reason.MISSING_FACT, "day of fitting")
    elif signed > fitted:
        days = f"signed {signed}, fitted {fitted}"
        yield outcome(rule, limit, "OUTSIDE", Reason.SIGNED_LATE, days)
    else:
        yield outcome(rule, limit, "WITHIN", Reason.SIGNED_IN_TIME, f"{signed}")


def _fitted_on(setting: Setting) -> date | None:
    """Return the day of fitting; left out of a worksheet it is the day of the profile."""
    plans = (setting.inputs.as_fitted, setting.inputs.plan)
    said = next((plan.fit_on for plan in plans if plan and plan.fit_on), None)
    return said or (None if setting.complete else setting.inputs.profile.on)


def _comparison(rule: Rule, limit: Limit, inputs: Inputs) -> Iterator[Finding]:
    if inputs.plan is None or inputs.as_fitted is None:
        return
    every = differences(inputs.plan, inputs.as_fitted, limit.tolerance)
    beyond = [each for each in every if each.beyond]
    explained = [each for each in beyond if _is_explained(each.field, inputs)]
    other = [each for each in beyond if each not in explained]
    unsaid = [each.field for each in other if not each.recorded and each.field not in STANDING]
    found = [_unexplained(rule, limit, each) for each in other if each.recorded]
    found.extend(_angle(rule, limit, inputs))
    if unsaid:
        found.append(outcome(rule, limit, "CANNOT_TELL", Reason.NOT_RECORDED, ", ".join(unsaid)))
    if not found:
        words = ", ".join(each.field for each in explained)
        found.append(outcome(rule, limit, "WITHIN", Reason.FITTED_AS_PLANNED, words))
    yield from found


def _unexplained(rule: Rule, limit: Limit, found: Difference) -> Finding:
    words = f"{found.field}: planned {found.planned}, fitted {found.fitted}"
    finding = outcome(rule, limit, "OUTSIDE", Reason.UNEXPLAINED, words)
    if found.change is None or found.tolerance is None:
        return replace(finding, measure=found.field)
    return replace(
        finding,
        measure=found.field,
        value=found.change,
        u=0.0,
        limit=found.tolerance,
        unit=unit_of(found.field),
        margin=found.tolerance - abs(found.change),
        p_outside=1.0,
    )


def _angle(rule: Rule, limit: Limit, inputs: Inputs) -> Iterator[Finding]:
    """Compare the palmar angle reached with the one foretold, where both are there."""
    planned, fitted = (_reading(inputs, stage) for stage in ("after_fit", "as_fitted"))
    if planned is None or fitted is None or _is_explained(FITTED_ANGLE, inputs):
        return
    # both foretold from one film share its landmarks: their difference has no u of its own
    alike = planned.basis == fitted.basis == "predicted"
    u = 0.0 if alike else math.hypot(planned.u, fitted.u)
    change = fitted.value - planned.value
    bound = Bound("high", limit.tolerance["angle_deg"], limit.severity, unit="deg")
    answer = answers(abs(change), u, (bound,))[0]
    if answer.verdict == "WITHIN":
        return
    size = with_unit(shown(abs(change), bound.limit), "deg")
    words = f"palmar angle {size} {'more' if change > 0 else 'less'} than planned"
    reason = Reason.UNEXPLAINED if answer.verdict == "OUTSIDE" else Reason.GUARD_BAND
    yield replace(
        outcome(rule, limit, answer.verdict, reason, words),
        measure=FITTED_ANGLE,
        value=change,
        u=u,
        limit=bound.limit,
        unit="deg",
        margin=answer.margin,
        p_outside=answer.p_outside,
    )


def _is_explained(field: str, inputs: Inputs) -> bool:
    reasons = (inputs.facts.deviations if inputs.facts else None) or {}
    general = inputs.as_fitted.reason if inputs.as_fitted else None
    return bool(general or reasons.get(field))


def _reading(inputs: Inputs, stage: str) -> Reading | None:
    measured = inputs.stages.get(stage)
    reading = measured.readings.get(FITTED_ANGLE) if measured else None
    if reading is None or not (math.isfinite(reading.value) and math.isfinite(reading.u)):
        return None
    return reading
