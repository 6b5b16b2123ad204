"""A whole foot of known dimensions: landmarks, plan, prediction and every finding."""

from datetime import date

import pytest

from referral.core.measure.readings import Measured
from referral.core.predict.plan import Plan, Shoe
from referral.core.predict.prediction import predict
from referral.core.rules.finding import CaseLimit
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import judge
from referral.rulebook.loader import load_rulebook
from tests.core.predict.feet import FORE, film
from tests.core.rules.feet import SAID

SHOE = Shoe("straight_bar", thickness_mm=10, breakover_setback_mm=20, heel_extension_mm=8)
PLAN = Plan(heel_trim_mm=5.0, wedge_deg=3.0, wedge_mm=7.9, shoe=SHOE, interval_weeks=5.0)


def findings(plan=PLAN, limits=(), **film_changes):
    foot = film(**film_changes)
    foretold = predict(foot, Measured(), plan, FORE)
    stages = {
        "now": foretold.now,
        "after_fit": foretold.after_fit,
        "at_due": foretold.at_due,
        "change": foretold.change,
    }
    inputs = Inputs(FORE, stages, plan, facts=SAID, film=foot)
    return judge(inputs, load_rulebook(), limits, date(2026, 11, 25))


def test_the_worked_plan_against_the_shipped_rules():
    # Worked foot: palmar angle 5.00, sole 12.00, bearing length after the trim 151.58 mm;
    # after a 5 mm heel trim, 3 degree wedge, 10 mm shoe set back 20 mm and 8 mm longer:
    # palmar angle 6.11, sole 12.00, breakover 21.20, behind the centre 48.14 %.
    judgement = findings(landmark_sd_mm=0.0, sd_given=True)
    answers = {
        each.rule: (each.verdict, each.severity)
        for each in judgement.findings
        if each.verdict != "NOT_APPLICABLE"
    }
    assert answers == {
        "R01": ("WITHIN", "note"),
        "R04": ("OUTSIDE", "caution"),
        "R05": ("WITHIN", "breach"),
        "R06": ("WITHIN", "caution"),
        "R07": ("WITHIN", "caution"),
        "R08": ("OUTSIDE", "caution"),
        "R10": ("OUTSIDE", "caution"),
        "R20": ("WITHIN", "caution"),
        "R22": ("WITHIN", "caution"),
        "R24": ("WITHIN", "red_flag"),
        "R26": ("WITHIN", "caution"),
        "R27": ("WITHIN", "caution"),
        # breakover 21.20 + 5 weeks x 2.1 mm x cos 47 = 28.4 at the due date
        "R11": ("OUTSIDE", "caution"),
        # toe 41.97 mm ahead of the tip; walls of 47 and 45 degrees
        "R12": ("OUTSIDE", "caution"),
        "R14": ("WITHIN", "note"),
        "R21": ("WITHIN", "caution"),
        "R23": ("CANNOT_TELL", "note"),
        "R33": ("WITHIN", "caution"),
        "R35": ("WITHIN", "note"),
        "R44": ("WITHIN", "caution"),
        "R53": ("WITHIN", "note"),
    }


def test_the_worked_plan_is_judged_on_the_worked_numbers():
    judgement = findings(landmark_sd_mm=0.0, sd_given=True)
    values = {each.rule: each.value for each in judgement.findings}
    assert values["R04"] == pytest.approx(12.00, abs=0.01)
    assert values["R05"] == pytest.approx(6.11, abs=0.01)
    assert values["R06"] == pytest.approx(1.11, abs=0.01)
    assert values["R08"] == pytest.approx(48.14, abs=0.01)
    assert values["R10"] == pytest.approx(21.20, abs=0.01)
    assert values["R20"] == pytest.approx(3.0 - 2.983, abs=0.002)  # atan(7.9 / 151.58)
    assert judgement.worst == "caution"
    # what a film of this foot does not show, and what nobody said
    assert set(judgement.not_run) >= {"R03", "R15", "R28", "R31", "R32", "R45"}


def test_with_landmark_uncertainty_the_breakover_is_too_close_to_call():
    by_rule = {each.rule: each for each in findings().findings}
    assert (by_rule["R10"].verdict, by_rule["R04"].verdict) == ("TOO_CLOSE", "OUTSIDE")
    assert by_rule["R10"].p_outside == pytest.approx(0.955, abs=0.01)


def test_a_steep_trim_breaks_the_angle_rule_and_a_must():
    limit = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=3.0)
    plan = Plan(heel_trim_mm=15.0, interval_weeks=5.0)
    judgement = findings(plan, [limit])
    answers = {each.rule: (each.verdict, each.severity) for each in judgement.findings}
    assert answers["case:0"] == ("OUTSIDE", "breach")
    assert answers["R07"] == ("OUTSIDE", "breach")
    assert answers["R06"] == ("OUTSIDE", "caution")
    assert judgement.worst == "breach"


def test_a_forecast_that_does_not_exist_cannot_be_told():
    limit = CaseLimit("sole_depth_tip_mm", "at_due", "must", at_least=10.0)
    judgement = findings(limits=[limit])
    assert judgement.findings[0].verdict == "CANNOT_TELL"
    assert "no growth model" in judgement.findings[0].says
    assert judgement.worst == "cannot_tell_must"
