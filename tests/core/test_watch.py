"""What is asked for at every visit, worked out from the entries (common practice, no source)."""

import doctest
from datetime import date, timedelta

import pytest

from referral.core import watch
from referral.core.diary import Dated
from referral.core.watch import asks_of
from referral.core.workflow import Happening

DAY = date(2026, 11, 2)


def test_the_examples_hold():
    assert doctest.testmod(watch).failed == 0


def entry(kind, days=0, role="vet", **facts):
    return Dated(Happening(kind, role, facts), DAY + timedelta(days=days))


def said(*entries):
    return [(each.what.name, each.limb) for each in asks_of(entries)]


def lame(days=0, limb="LF"):
    return entry("red_flag_raised", days, flag="a", sign="not_bearing_weight", limb=limb)


def graded(scale, grade, days=0, limb="LH"):
    return entry("lameness_graded", days, limb=limb, scale=scale, grade=grade)


CHECKED = "support_limb_checked"
RESET = "reset_recorded"


@pytest.mark.parametrize(
    ("limb", "opposite"), [("LF", "RF"), ("RF", "LF"), ("LH", "RH"), ("RH", "LH"), (None, None)]
)
def test_the_foot_opposite_one_that_bears_no_weight_is_asked_for(limb, opposite):
    assert said(lame(limb=limb)) == [("SUPPORT_LIMB", opposite)]
    assert said(lame(limb=limb), entry(CHECKED, 0, limb=opposite or "RF", found="quiet")) == []


def test_it_is_asked_for_anew_at_every_visit_and_no_other_foot_stands_for_it():
    checked = entry(CHECKED, 0, limb="RF", found="quiet")
    visit = entry(RESET, 3, n=1)
    assert said(lame(), entry(CHECKED, 0, limb="LF")) == [("SUPPORT_LIMB", "RF")]
    assert said(lame(), checked, visit) == [("SUPPORT_LIMB", "RF")]
    assert said(lame(), checked, visit, entry(CHECKED, 3, limb="RF")) == []
    assert said(lame(), checked, entry("call_note_added", 5)) == []


def test_it_is_asked_for_as_long_as_the_flag_is_not_resolved():
    managed = entry("red_flag_answered", 1, flag="a", answer="managed", until="2026-12-01")
    resolved = entry("red_flag_answered", 1, flag="a", answer="resolved")
    assert said(lame(), managed) == [("SUPPORT_LIMB", "RF")]
    assert said(lame(), resolved) == []
    assert said(entry("red_flag_raised", flag="b", sign="foal_lame", limb="LF")) == []


def test_the_worst_grade_of_a_scale_asks_for_it_until_the_horse_goes_better():
    assert said(graded("aaep", 5.0)) == [("SUPPORT_LIMB", "RH")]
    assert said(graded("uk", 10.0)) == [("SUPPORT_LIMB", "RH")]
    assert said(graded("aaep", 4.5)) == []
    assert said(graded("obel", 4.0)) == []
    assert said(graded("aaep", 5.0), graded("aaep", 3.0, 7)) == []
    assert said(graded("aaep", 5.0), graded("aaep", 5.0, 7)) == [("SUPPORT_LIMB", "RH")]


def resets(*worn):
    return [entry(RESET, 35 * n, n=n, devices=list(limbs)) for n, limbs in enumerate(worn, 1)]


def test_a_device_is_asked_about_after_three_resets_in_it():
    assert said(*resets(["LF"], ["LF"])) == []
    assert said(*resets(["LF"], ["LF"], ["LF", "RF"])) == [("DEVICE", "LF")]
    assert said(*resets(["LF"], ["LF"], ["RF"], ["LF"])) == []
    assert said(entry(RESET, n=1), *resets(["LF"], ["LF"])) == []


@pytest.mark.parametrize("move", ["device_renewed", "device_stepped_down"])
def test_a_reason_or_a_step_down_starts_the_count_again(move):
    three = resets(["LF"], ["LF"], ["LF"])
    reason = entry(move, 110, limb="LF", device="bar")
    fourth = entry(RESET, 140, n=4, devices=["LF"])
    assert said(*three, reason) == []
    assert said(*three, entry(move, 110, limb="RF", device="bar")) == [("DEVICE", "LF")]
    assert said(*three, reason, fourth) == []


def test_a_correction_takes_the_place_of_what_it_corrects():
    three = resets(["LF"], ["LF"], ["LF"])
    assert said(*three, entry(RESET, 106, n=3, devices=[])) == []


def test_a_puncture_asks_for_tetanus_until_somebody_says():
    nail = entry("red_flag_raised", flag="a", sign="penetrating_object", limb="LF")
    assert said(nail) == [("TETANUS", None)]
    unknown = entry("emergency_work_recorded", 0, limb="LF", tetanus="not_known")
    assert said(nail, unknown) == [("TETANUS", None)]
    for told in (
        entry("emergency_work_recorded", 0, limb="LF", tetanus="up_to_date"),
        entry("red_flag_answered", 1, flag="a", answer="resolved", tetanus="given"),
        entry("medication_noted", 1, medication="tetanus"),
    ):
        assert said(nail, told) == []
    with_it = entry("red_flag_raised", sign="penetrating_object", flag="a", tetanus="up_to_date")
    assert said(with_it) == []
