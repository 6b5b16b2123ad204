"""The longest interval: counted week by week, never a guess."""

from datetime import date

import pytest

from referral.core.measure.readings import Measured, Profile, Reading
from referral.core.predict.plan import Plan
from referral.core.rules.finding import CaseLimit
from referral.core.rules.inputs import Inputs
from referral.core.rules.interval import judges_due_date, longest_interval_weeks
from referral.core.rules.rule import Limit, Rule, Rulebook

DAY = date(2026, 11, 25)
FORE = Profile("LF", "adult_horse", DAY)
EMPTY = Rulebook((), "")


def drifting(per_week=1.0, u=0.0, start=5.0):
    """Return a foot whose palmar angle falls week by week."""

    def foresee(weeks):
        value = start - per_week * weeks
        angle = Reading("palmar_angle_deg", value, u * weeks, "deg", "none", "predicted")
        plan = Plan(interval_weeks=float(weeks))
        return Inputs(FORE, {"at_due": Measured({angle.code: angle})}, plan)

    return foresee


def least(value, **said):
    given = {"stage": "at_due", "strength": "must", "at_least": value, **said}
    return CaseLimit("palmar_angle_deg", **given)


def rule(measure, stage, *tiers):
    limits = tuple(
        Limit(date(2020, 1, 1), severity, "common practice", "-", unit, **bound)
        for severity, unit, bound in tiers
    )
    return Rule(f"X{len(measure)}", measure, "Mend it.", "threshold", stage, limits, measure)


WEEKS = Rulebook(
    (
        rule(
            "interval_weeks",
            "after_fit",
            ("caution", "weeks", {"at_most": 8}),
            ("breach", "weeks", {"at_most": 10}),
        ),
    ),
    "",
)


@pytest.mark.parametrize(
    ("foresee", "limits", "weeks"),
    [
        (drifting(), [least(2)], 3),
        (drifting(), [least(4.5)], 0),
        (drifting(), [least(-20)], 12),
        (drifting(u=0.25), [least(2)], 1),  # 4 at week 1, U 0.5; 3 at week 2, U 1
        (drifting(), [least(2, strength="should")], 12),
        (drifting(), [least(2, stage="after_fit")], 12),
        (drifting(), [least(2, stage="at_due"), least(1)], 3),
        (drifting(), [], 12),
        (drifting(per_week=-1.0, start=0.0), [least(3)], 0),  # broken at first, kept later
    ],
)
def test_it_is_the_last_week_up_to_which_every_must_is_within(foresee, limits, weeks):
    assert longest_interval_weeks(foresee, EMPTY, limits, DAY) == weeks


def test_one_must_that_cannot_be_told_leaves_no_answer():
    unknown = CaseLimit("dip_height_mm", "at_due", "must", at_most=90)
    assert longest_interval_weeks(drifting(), EMPTY, [least(2), unknown], DAY) is None
    softer = CaseLimit("dip_height_mm", "at_due", "should", at_most=90)
    assert longest_interval_weeks(drifting(), EMPTY, [least(2), softer], DAY) == 3


def test_the_rule_on_weeks_caps_it_and_the_vets_own_takes_its_place():
    assert longest_interval_weeks(drifting(), WEEKS, [], DAY) == 8
    assert longest_interval_weeks(drifting(), WEEKS, [least(2)], DAY) == 3
    own = CaseLimit("interval_weeks", "after_fit", "must", at_most=5)
    assert longest_interval_weeks(drifting(), WEEKS, [own], DAY) == 5
    late = CaseLimit("interval_weeks", "at_due", "must", at_most=4)
    assert longest_interval_weeks(drifting(), WEEKS, [late], DAY) == 4


def test_a_breach_tier_of_a_rule_counts_and_its_caution_does_not():
    angle = rule(
        "palmar_angle_deg",
        "at_due",
        ("caution", "deg", {"at_least": 3}),
        ("breach", "deg", {"at_least": 1}),
    )
    assert longest_interval_weeks(drifting(), Rulebook((angle,), ""), [], DAY) == 4


def test_it_is_known_whether_anything_is_asked_at_the_due_date():
    assert judges_due_date(EMPTY, [least(2)])
    assert not judges_due_date(WEEKS, [least(2, stage="now")])
