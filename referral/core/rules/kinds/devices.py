"""Rules on what is put on the foot, and on which foot and ground."""

from referral.core.rules.derived import has_bar, has_wedge
from referral.core.rules.finding import Finding
from referral.core.rules.guard import Bound
from referral.core.rules.inputs import Setting
from referral.core.rules.kinds.bounded import bounded_findings
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import find_quantity, plan_for
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule
from referral.core.rules.words import found_words

PLATED = frozenset({"heart_bar", "egg_heart"})
"""Categories that have a frog plate by their making."""

UNDER_RUN = "under_run_heels"
TURNS = {
    "WITHIN": Reason.NOT_TURNED_BACK,
    "OUTSIDE": Reason.TURNED_BACK,
    "TOO_CLOSE": Reason.GUARD_BAND,
}


def judge_frog_plate(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return whether a frog plate presses on the frog, by its word or by its height.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan, Shoe
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "breach", "common practice", "-")
    >>> rule = Rule("X12", "Plate", "Lower it.", "pattern", "now", (limit,), of="frog_plate")
    >>> day = date(2026, 2, 1)
    >>> plan = Plan(shoe=Shoe("heart_bar", frog_plate="positive"))
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, plan)
    >>> judge_frog_plate(rule, (limit,), Setting(foot, day))[0].verdict
    'OUTSIDE'
    """
    plan = plan_for(setting.inputs, "after_fit")
    if plan is None:
        return None
    shoe = plan.shoe
    height = shoe.frog_plate_height_mm if shoe else None
    if shoe is None or (shoe.frog_plate is None and height is None):
        if shoe is not None and shoe.category in PLATED:
            detail = "how the frog plate lies"
            return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, detail)]
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NO_FROG_PLATE)]
    if shoe.frog_plate == "positive" or (height or 0.0) > 0.0:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.PRESSES)]
    return [outcome(rule, limits[0], "WITHIN", Reason.NO_PRESSURE)]


def judge_surface(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding] | None:
    """Return whether the ground is said under a bar or a wide branch, and can do what is meant.

    The rule's words are looked for in the plan's reason: on firm ground they promise what a
    bar or a wide branch does not do there.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan, Shoe
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "note", "published", "-")
    >>> rule = Rule(
    ...     "X13", "Ground", "Say it.", "pattern", "after_fit", (limit,), of="surface",
    ...     words=("tilt",),
    ... )
    >>> day = date(2026, 2, 1)
    >>> plan = Plan(shoe=Shoe("egg_bar"), surface="firm", reason="It tilts the bone.")
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, plan)
    >>> judge_surface(rule, (limit,), Setting(foot, day))[0].reason
    'firm_ground'
    """
    plan = plan_for(setting.inputs, rule.stage)
    if plan is None:
        return None
    shoe = plan.shoe
    is_wide = shoe is not None and max(shoe.medial_extension_mm, shoe.lateral_extension_mm) > 0.0
    if not (has_bar(plan) or is_wide):
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NO_EXTENSION)]
    if plan.surface is None:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "the ground")]
    if plan.surface == "firm" and found_words(plan.reason or "", rule.words):
        return [outcome(rule, limits[0], "OUTSIDE", Reason.FIRM_GROUND)]
    return [outcome(rule, limits[0], "WITHIN", Reason.SURFACE_SAID)]


def judge_weak_heels(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return whether a wedge is put under heels that are crushed or run forward.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan
    >>> from referral.core.rules.facts import Facts
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "caution", "textbook", "-")
    >>> weak = "wedge_on_weak_heels"
    >>> rule = Rule("X14", "Wedge", "Not here.", "pattern", "now", (limit,), of=weak)
    >>> day = date(2026, 2, 1)
    >>> foot = Inputs(
    ...     Profile("LF", "adult_horse", day), {}, Plan(wedge_deg=2.0),
    ...     facts=Facts(heels_damaged=True),
    ... )
    >>> judge_weak_heels(rule, (limit,), Setting(foot, day))[0].verdict
    'OUTSIDE'
    """
    plan, facts = plan_for(setting.inputs, "after_fit"), setting.inputs.facts
    if plan is None:
        return None
    if not has_wedge(plan):
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NO_WEDGE)]
    damaged = facts.heels_damaged if facts else None
    if UNDER_RUN in setting.inputs.profile.conditions:
        damaged = True
    if damaged is None:
        if not setting.complete:
            return None
        detail = "how the heels look"
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, detail)]
    if damaged:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.HEELS_DAMAGED)]
    return [outcome(rule, limits[0], "WITHIN", Reason.NOTHING_SEEN)]


def judge_turned_back(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return whether trim and wedge turn the foot back with no set-back breakover against it.

    The turn is the change of the palmar angle, trim and wedge together, with its u; a setback
    of shoe or bevel is what offsets the pull of the deep flexor tendon.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Measured, Profile, Reading
    >>> from referral.core.predict.plan import Plan
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-")
    >>> rule = Rule("X15", "Turn", "Set it back.", "pattern", "change", (limit,), of="turned_back")
    >>> day = date(2026, 2, 1)
    >>> turn = Reading("palmar_angle_deg", -1.9, 0.1, "deg", "none", "predicted")
    >>> foot = Inputs(
    ...     Profile("LF", "adult_horse", day), {"change": Measured({turn.code: turn})}, Plan()
    ... )
    >>> judge_turned_back(rule, (limit,), Setting(foot, day))[0].reason
    'turned_back'
    """
    plan = plan_for(setting.inputs, "after_fit")
    if plan is None:
        return None
    shoe_back = plan.shoe.breakover_setback_mm if plan.shoe else 0.0
    if max(shoe_back, plan.bevel_setback_mm or 0.0) > 0.0:
        return [outcome(rule, limits[0], "WITHIN", Reason.NOT_TURNED_BACK)]
    turn = find_quantity(setting.inputs, "palmar_angle_deg", "change")
    not_back = tuple(_not_back(limit) for limit in limits)
    return bounded_findings(rule, limits, turn, TURNS, not_back)


def _not_back(limit: Limit) -> Bound:
    return Bound(
        "low",
        0.0,
        limit.severity,
        unit="deg",
        since=limit.since,
        evidence=limit.evidence,
        source=limit.source,
    )
