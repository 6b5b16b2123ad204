"""Sinking: the founder distance against the visit before, the tilt of the foot taken out."""

import math
from dataclasses import replace

from referral.core.measure.film import foot_points
from referral.core.measure.readings import Reading
from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Inputs, Setting
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import Quantity, find_quantity, scale_doubt
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule
from referral.core.rules.wording import shown, with_unit

FOUNDER = "founder_distance_mm"
ANGLE = "palmar_angle_deg"
ENDS = ("hairline", "extensor_process")
REAL = 1.96
"""Standard uncertainties of a difference beyond which it is real (two-sided, 5 %)."""

NOT_THERE = frozenset({Reason.MISSING_READING, Reason.MISSING_STAGE})
SAME_TILT_DEG = 0.5
"""Without a film a tilt that differs by less is taken as the same; common practice, no source."""


def judge_founder_rise(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return whether the bone has sunk in its capsule since the visit before.

    The film's hairline and extensor process are turned to the tilt of the visit before, so
    that a trim, which tilts both, does not look like sinking. A rise by more than 1.96 times
    the u of the difference is OUTSIDE; anything less is WITHIN.

    Notes
    -----
    Source: plane geometry for the tilt; JCGM 100:2008, 5.1.2 for the u of a difference.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Measured, Profile
    >>> from referral.core.rules.facts import Facts, Previous
    >>> limit = Limit(date(2026, 1, 1), "red_flag", "common practice", "-")
    >>> rule = Rule("X19", "Sinking", "Ring.", "red_flag", "now", (limit,), of="founder_rise")
    >>> day = date(2026, 2, 1)
    >>> def foot(drop_mm):
    ...     return {
    ...         FOUNDER: Reading(FOUNDER, drop_mm, 0.5, "mm", "marker", "film"),
    ...         ANGLE: Reading(ANGLE, 5.0, 0.3, "deg", "none", "film"),
    ...     }
    >>> facts = Facts(previous=Previous(date(2026, 1, 1), foot(9.0)))
    >>> profile, now = Profile("LF", "adult_horse", day), {"now": Measured(foot(12.0))}
    >>> inputs = Inputs(profile, now, facts=facts)
    >>> judge_founder_rise(rule, (limit,), Setting(inputs, day))[0].reason
    'has_risen'
    """
    facts = setting.inputs.facts
    previous = facts.previous if facts else None
    if previous is None and not setting.complete:
        return None
    now = find_quantity(setting.inputs, FOUNDER, "now")
    before = previous.readings.get(FOUNDER) if previous else None
    if previous is None or before is None or now.reason in NOT_THERE:
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NOT_COMPARED)]
    doubt = now.reason or scale_doubt(before.scale_state, before.basis, conflict=False)
    if doubt is not None:
        return [outcome(rule, limits[0], "CANNOT_TELL", doubt)]
    level = at_tilt_before(setting.inputs, now, previous.readings.get(ANGLE))
    if level is None:
        detail = "the palmar angle of both visits, and a film"
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_READING, detail)]
    return [_finding(rule, limits[0], level - before.value, math.hypot(now.u or 0.0, before.u))]


def at_tilt_before(inputs: Inputs, now: Quantity, before: Reading | None) -> float | None:
    """Return today's founder distance as it would read at the palmar angle of the visit before.

    Returns
    -------
    float or None
        In mm; ``None`` where the angles, or the film that is needed if they differ, are missing.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> bare = Inputs(Profile("LF", "adult_horse", date(2026, 2, 1)), {})
    >>> at_tilt_before(bare, Quantity(9.9, 0.5, "mm"), None) is None
    True
    """
    angle = find_quantity(inputs, ANGLE, "now").value
    if before is None or angle is None:
        return None
    turn_deg = before.value - angle
    points = foot_points(inputs.film) if inputs.film is not None else {}
    if any(name not in points for name in ENDS):
        return now.value if abs(turn_deg) <= SAME_TILT_DEG else None
    ahead, above = points[ENDS[0]] - points[ENDS[1]]
    turn = math.radians(turn_deg)
    # heels up is a turn of the front downwards: what lies ahead sinks
    return float(above * math.cos(turn) - ahead * math.sin(turn))


def _finding(rule: Rule, limit: Limit, rise_mm: float, u: float) -> Finding:
    has_risen = rise_mm > REAL * u
    least = with_unit(shown(REAL * u), "mm")
    words = f"{with_unit(shown(rise_mm, REAL * u), 'mm')} since the visit before; {least} is real"
    verdict, reason = ("OUTSIDE", Reason.HAS_RISEN) if has_risen else ("WITHIN", Reason.NO_CHANGE)
    return replace(
        outcome(rule, limit, verdict, reason, words),
        value=rise_mm,
        u=u,
        limit=REAL * u,
        unit="mm",
        margin=REAL * u - rise_mm,
    )
