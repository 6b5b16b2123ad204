"""Rules that are no thresholds: scale, recheck, red flags, wedge, fitted as signed."""

import math
from datetime import date

import pytest

from referral.core.predict.plan import Clip, Nails, Plan, Shoe
from referral.core.rules.deviations import AGREED, KIND_OF, differences
from referral.core.rules.facts import Facts
from referral.core.rules.judging import judge
from referral.core.rules.kinds.agreement import wedge_angle_deg
from referral.core.rules.rule import Applies, Limit, Rule
from tests.core.rules.feet import (
    ANGLE,
    DAY,
    SAID,
    SINCE,
    SOLE,
    book,
    film,
    foot,
    measured,
    only,
    reading,
    tier,
)


def rule(kind, of, limit=None, stage="now"):
    limit = limit or tier(unit=None)
    return Rule("X01", "The thing", "Mend it.", kind, stage, (limit,), of=of, applies=Applies())


SCALE = rule("presence", "film_scale")
RECHECK = rule("presence", "recheck")
FLAGS = rule("red_flag", "red_flags", tier("red_flag", unit=None))
WEDGE = rule("agreement_of_two", "wedge", tier(unit="deg", at_most=0.3), "after_fit")
FITTED = rule(
    "pattern",
    "fitted_as_signed",
    Limit(SINCE, "caution", "common practice", "-", tolerance=AGREED),
    "as_fitted",
)


def answer(rule, inputs, **more):
    finding = only(judge(inputs, book(rule), (), DAY, **more))
    return finding.verdict, finding.reason


@pytest.mark.parametrize(
    ("state", "conflict", "expected"),
    [
        ("marker", False, ("WITHIN", "present")),
        ("corrected", False, ("WITHIN", "present")),
        ("foot_frame", False, ("WITHIN", "present")),
        ("estimated", False, ("CANNOT_TELL", "scale_estimated")),
        ("none", False, ("CANNOT_TELL", "no_scale")),
        ("none", True, ("OUTSIDE", "scale_conflict")),
    ],
)
def test_the_scale_of_a_film(state, conflict, expected):
    assert answer(SCALE, foot(film=film(state, conflict=conflict))) == expected


def test_landmarks_given_in_millimetres_need_no_scale():
    assert answer(SCALE, foot(film=film("none", landmarks_mm={}))) == ("WITHIN", "present")


def test_without_a_film_the_worst_scale_of_the_stated_lengths_answers():
    good = reading(SOLE, 12.0, state="marker", basis="stated")
    bad = reading("toe_distance_mm", 30.0, state="unsaid", basis="stated")
    angle = reading(ANGLE, 4.0, state="unsaid", basis="stated")
    assert answer(SCALE, foot(stages={"now": measured(good, bad)})) == ("CANNOT_TELL", "no_scale")
    assert answer(SCALE, foot(stages={"now": measured(good, angle)})) == ("WITHIN", "present")
    assert answer(SCALE, foot(stages={"now": measured(angle)})) == ("NOT_APPLICABLE", "no_lengths")
    assert answer(SCALE, foot()) == ("NOT_APPLICABLE", "no_lengths")


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        (SAID, ("WITHIN", "present")),
        (Facts(), ("CANNOT_TELL", "missing_fact")),
        (Facts(recheck_owner="vet"), ("OUTSIDE", "incomplete")),
        (Facts(recheck_on=DAY), ("OUTSIDE", "incomplete")),
        (Facts(recheck_owner="", recheck_on=DAY), ("OUTSIDE", "incomplete")),
    ],
)
def test_a_recheck_needs_an_owner_and_a_date(facts, expected):
    assert answer(RECHECK, foot(facts=facts)) == expected


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        (SAID, ("WITHIN", "no_red_flag")),
        (Facts(), ("CANNOT_TELL", "missing_fact")),
        (Facts(red_flags=("sepsis",)), ("OUTSIDE", "red_flag_present")),
    ],
)
def test_red_flags(facts, expected):
    assert answer(FLAGS, foot(facts=facts)) == expected


@pytest.mark.parametrize("kind", [RECHECK, FLAGS])
def test_without_facts_a_worksheet_does_not_run_it_and_a_case_cannot_tell(kind):
    assert judge(foot(), book(kind), (), DAY).not_run == ("X01",)
    assert answer(kind, foot(), complete=True) == ("CANNOT_TELL", "missing_fact")


@pytest.mark.parametrize(
    ("length", "height", "degrees"),
    [(110, 5.0, 2.60), (110, 6.0, 3.12), (110, 10.0, 5.19), (120, 10.0, 4.76), (130, 6.81, 3.0)],
)
def test_wedge_table(length, height, degrees):
    # Plane geometry t = L tan(theta); rounded to 0.01 degree by hand.
    assert wedge_angle_deg(height, length) == pytest.approx(degrees, abs=0.005)


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (Plan(), ("NOT_APPLICABLE", "no_wedge")),
        (Plan(wedge_mm=0.0), ("NOT_APPLICABLE", "no_wedge")),
        (Plan(wedge_deg=3.0), ("OUTSIDE", "one_of_two_missing")),
        (Plan(wedge_deg=3.0, wedge_mm=6.29, wedge_length_mm=120.0), ("WITHIN", "agrees")),
        (Plan(wedge_deg=3.0, wedge_mm=7.0, wedge_length_mm=120.0), ("OUTSIDE", "disagrees")),
        (Plan(wedge_mm=6.29, wedge_length_mm=120.0), ("OUTSIDE", "disagrees")),
        (Plan(wedge_deg=3.0, wedge_mm=6.29), ("CANNOT_TELL", "missing_stage")),
        (Plan(wedge_deg=3.0, wedge_mm=6.3, wedge_length_mm=0.0), ("CANNOT_TELL", "not_positive")),
        (Plan(wedge_deg=math.nan, wedge_mm=6.3), ("CANNOT_TELL", "not_finite")),
    ],
)
def test_a_wedge_agrees_with_itself(plan, expected):
    assert answer(WEDGE, foot(plan=plan)) == expected


def test_without_a_plan_the_wedge_is_not_run():
    assert judge(foot(), book(WEDGE), (), DAY).not_run == ("X01",)


@pytest.mark.parametrize(
    ("bearing", "shoe", "expected"),
    [
        (reading("bearing_length_mm", 120.0, 0.7), None, ("WITHIN", "agrees")),
        (
            reading("bearing_length_mm", 128.0, 0.7),
            Shoe("open", heel_extension_mm=8.0),
            ("WITHIN", "agrees"),
        ),
        (reading("bearing_length_mm", 108.5, 2.0), None, ("TOO_CLOSE", "guard_band")),
        (reading("bearing_length_mm", 95.0, 0.7), None, ("OUTSIDE", "disagrees")),
        (reading("bearing_length_mm", 120.0, state="none"), None, ("CANNOT_TELL", "no_scale")),
    ],
)
def test_the_wedge_is_measured_over_the_trimmed_bearing_length(bearing, shoe, expected):
    plan = Plan(wedge_deg=3.0, wedge_mm=6.29, shoe=shoe)
    inputs = foot(plan=plan, stages={"after_fit": measured(bearing)})
    assert answer(WEDGE, inputs) == expected


def test_the_predicted_length_gives_the_angle_its_uncertainty():
    plan = Plan(wedge_deg=3.0, wedge_mm=7.9)
    inputs = foot(
        plan=plan, stages={"after_fit": measured(reading("bearing_length_mm", 151.58, 1.0))}
    )
    finding = only(judge(inputs, book(WEDGE), (), DAY))
    # d(theta)/dL = t / (t^2 + L^2) = 3.43e-4 rad per mm = 0.0197 degrees per mm
    assert finding.u == pytest.approx(0.0196, abs=2e-4)
    assert finding.value == pytest.approx(abs(3.0 - 2.9794), abs=2e-3)


def fitted(plan, done, **parts):
    return judge(foot(plan=plan, as_fitted=done, **parts), book(FITTED), (), DAY).findings


@pytest.mark.parametrize(("field", "kind"), sorted(KIND_OF.items()))
def test_every_number_has_its_tolerance(field, kind):
    part, _, name = field.rpartition(".")
    allowed = AGREED[kind]

    def plan_with(value):
        if part == "nails":
            return Plan(nails=Nails(**{name: value}))
        return Plan(shoe=Shoe("open", **{name: value})) if part else Plan(**{name: value})

    at_edge = fitted(plan_with(10.0), plan_with(10.0 + allowed))
    beyond = fitted(plan_with(10.0), plan_with(10.0 - allowed - 0.01))
    assert [each.verdict for each in at_edge] == ["WITHIN"]
    assert [(each.verdict, each.measure) for each in beyond] == [("OUTSIDE", field)]
    assert beyond[0].margin == pytest.approx(-0.01)


@pytest.mark.parametrize(
    ("plan", "done", "field"),
    [
        (Plan(shoe=Shoe("egg_bar")), Plan(), "shoe.category"),
        (Plan(), Plan(shoe=Shoe("egg_bar")), "shoe.category"),
        (Plan(attachment="glued"), Plan(attachment="nailed"), "attachment"),
        (Plan(nails=Nails(count=6)), Plan(nails=Nails(count=5)), "nails.count"),
        (Plan(nails=Nails(holes=("L1",))), Plan(nails=Nails(holes=("L1", "L2"))), "nails.holes"),
        (Plan(clips=(Clip("toe"),)), Plan(clips=(Clip("side"), Clip("side"))), "clips"),
        (Plan(), Plan(packing="silicone"), "packing"),
    ],
)
def test_words_and_counts_have_no_tolerance(plan, done, field):
    (finding,) = fitted(plan, done)
    assert (finding.verdict, finding.measure, finding.value) == ("OUTSIDE", field, None)


def test_each_unexplained_difference_is_a_finding_and_a_reason_settles_it():
    done = Plan(heel_trim_mm=3.0, toe_trim_mm=4.0)
    assert [each.measure for each in fitted(Plan(), done)] == ["heel_trim_mm", "toe_trim_mm"]
    one = Facts(plan_signed_on=DAY, deviations={"heel_trim_mm": "thin wall"})
    answers = [(each.verdict, each.measure) for each in fitted(Plan(), done, facts=one)]
    assert answers == [("OUTSIDE", "toe_trim_mm"), ("WITHIN", None)]
    general = Plan(heel_trim_mm=3.0, toe_trim_mm=4.0, reason="the horse would not stand")
    (finding,) = fitted(Plan(), general)
    assert finding.reason == "fitted_as_planned"
    assert "toe_trim_mm, heel_trim_mm" in finding.says


def test_what_is_not_recorded_as_fitted_cannot_be_told():
    (finding,) = fitted(Plan(wedge_mm=6.3), Plan())
    assert (finding.verdict, finding.reason) == ("CANNOT_TELL", "not_recorded")
    assert "wedge_mm" in finding.says


def test_interval_and_surface_stand_as_planned_unless_said_otherwise():
    plan = Plan(interval_weeks=5.0, surface="firm")
    assert [each.verdict for each in fitted(plan, Plan())] == ["WITHIN"]
    (finding,) = fitted(plan, Plan(interval_weeks=6.0))
    assert (finding.verdict, finding.measure) == ("OUTSIDE", "interval_weeks")


def test_a_number_that_is_none_never_agrees():
    (finding,) = fitted(Plan(heel_trim_mm=5.0), Plan(heel_trim_mm=math.nan))
    assert (finding.verdict, finding.reason) == ("CANNOT_TELL", "not_recorded")


def test_differences_within_tolerance_are_listed_but_need_no_reason():
    (found,) = differences(Plan(heel_trim_mm=5.0), Plan(heel_trim_mm=6.0))
    assert (found.field, found.planned, found.fitted, found.beyond) == (
        "heel_trim_mm",
        "5",
        "6",
        False,
    )


@pytest.mark.parametrize(
    ("planned", "reached", "verdicts"),
    [
        (
            reading(ANGLE, 5.0, 0.7, basis="predicted"),
            reading(ANGLE, 6.5, 0.7, basis="predicted"),
            ["OUTSIDE"],
        ),
        (
            reading(ANGLE, 5.0, 0.7, basis="predicted"),
            reading(ANGLE, 3.9, 0.7, basis="predicted"),
            ["OUTSIDE"],
        ),
        (
            reading(ANGLE, 5.0, 0.7, basis="predicted"),
            reading(ANGLE, 6.0, 0.7, basis="predicted"),
            ["WITHIN"],
        ),
        (reading(ANGLE, 5.0, 0.7, basis="predicted"), reading(ANGLE, 6.5, 0.7), ["TOO_CLOSE"]),
        (reading(ANGLE, 5.0, 0.7, basis="predicted"), reading(ANGLE, 9.0, 0.7), ["OUTSIDE"]),
        (reading(ANGLE, 5.0), reading(ANGLE, math.nan), ["WITHIN"]),
    ],
)
def test_the_palmar_angle_reached_is_compared_with_the_one_foretold(planned, reached, verdicts):
    stages = {"after_fit": measured(planned), "as_fitted": measured(reached)}
    assert [each.verdict for each in fitted(Plan(), Plan(), stages=stages)] == verdicts
    explained = fitted(Plan(), Plan(reason="swollen heel bulbs"), stages=stages)
    assert [each.verdict for each in explained] == ["WITHIN"]


@pytest.mark.parametrize(
    ("plan", "done", "signed", "expected"),
    [
        (Plan(fit_on=DAY), None, date(2026, 11, 24), "signed_in_time"),
        (Plan(fit_on=DAY), None, DAY, "signed_in_time"),
        (Plan(fit_on=DAY), None, date(2026, 11, 26), "signed_late"),
        (Plan(fit_on=DAY), Plan(fit_on=date(2026, 11, 27)), date(2026, 11, 26), "signed_in_time"),
        (Plan(), None, date(2026, 11, 26), "signed_late"),  # the day left out is the profile's
        (Plan(fit_on=DAY), None, None, "missing_fact"),
    ],
)
def test_the_plan_is_signed_by_the_day_of_fitting(plan, done, signed, expected):
    found = judge(
        foot(plan=plan, as_fitted=done, facts=Facts(plan_signed_on=signed)), book(FITTED), (), DAY
    ).findings
    assert expected in [each.reason for each in found]


def test_a_case_must_say_the_day_of_fitting():
    inputs = foot(plan=Plan(), facts=Facts(plan_signed_on=DAY))
    assert answer(FITTED, inputs, complete=True) == ("CANNOT_TELL", "missing_fact")
    assert answer(FITTED, foot(plan=Plan()), complete=True) == ("CANNOT_TELL", "missing_fact")


@pytest.mark.parametrize("inputs", [foot(), foot(plan=Plan()), foot(facts=SAID)])
def test_fitting_is_not_run_without_a_plan_and_something_to_hold_it_against(inputs):
    assert judge(inputs, book(FITTED), (), DAY).not_run == ("X01",)
