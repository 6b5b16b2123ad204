"""Judging: five verdicts, dates, scope, tiers, worst, summary, folding."""

import math
from datetime import date

import pytest

from referral.core.predict.plan import Plan
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit
from referral.core.rules.judging import judge
from referral.core.rules.quantities import find_quantity, is_supplied
from referral.core.rules.rule import Applies, Rule
from tests.core.rules.feet import (
    ANGLE,
    DAY,
    SOLE,
    after_fit,
    book,
    film,
    foot,
    measured,
    only,
    reading,
    threshold,
    tier,
)

LEAST_8 = threshold(tier(at_least=8.0))
TIERS = threshold(tier(at_least=15.0), tier("breach", at_least=10.0))


def judged(inputs, *rules, limits=(), on=DAY, **more):
    return judge(inputs, book(*rules), limits, on, **more)


@pytest.mark.parametrize(
    ("inputs", "verdict", "reason"),
    [
        (after_fit(), "CANNOT_TELL", "missing_reading"),
        (after_fit(reading(SOLE, math.nan)), "CANNOT_TELL", "not_finite"),
        (after_fit(reading(SOLE, 9.0, math.nan)), "CANNOT_TELL", "not_finite"),
        (after_fit(reading(SOLE, 9.0, state="none")), "CANNOT_TELL", "no_scale"),
        (after_fit(reading(SOLE, 9.0, state="unsaid", basis="stated")), "CANNOT_TELL", "no_scale"),
        (after_fit(reading(SOLE, 9.0, state="estimated")), "CANNOT_TELL", "scale_estimated"),
        (
            after_fit(reading(SOLE, 9.0, state="external", basis="stated")),
            "CANNOT_TELL",
            "scale_external",
        ),
        (
            after_fit(reading(SOLE, 9.0, state="none"), film=film("none", conflict=True)),
            "CANNOT_TELL",
            "scale_conflict",
        ),
        (foot(plan=Plan()), "CANNOT_TELL", "missing_stage"),
        (after_fit(reading(SOLE, 9.0)), "WITHIN", "inside"),
        (after_fit(reading(SOLE, 9.0, state="foot_frame")), "WITHIN", "inside"),
        (after_fit(reading(SOLE, 9.0, state="corrected", basis="stated")), "WITHIN", "inside"),
        (
            after_fit(reading(SOLE, 9.0, state="foot_frame", basis="stated")),
            "CANNOT_TELL",
            "no_scale",
        ),
        (after_fit(reading(SOLE, 7.9)), "OUTSIDE", "beyond"),
        (after_fit(reading(SOLE, 9.0), limb="LH"), "NOT_APPLICABLE", "other_limb"),
        (after_fit(reading(SOLE, 9.0), animal="pony"), "NOT_APPLICABLE", "other_animal"),
    ],
)
def test_a_missing_fact_never_counts_as_a_pass(inputs, verdict, reason):
    finding = only(judged(inputs, LEAST_8))
    assert (finding.verdict, finding.reason) == (verdict, reason)


def test_an_angle_is_judged_on_a_film_without_scale():
    rule = threshold(tier(unit="deg", at_least=2.0), measure=ANGLE)
    finding = only(judged(after_fit(reading(ANGLE, 5.0, state="none")), rule))
    assert finding.verdict == "WITHIN"


def test_the_value_is_shown_even_if_it_cannot_be_judged():
    finding = only(judged(after_fit(reading(SOLE, 9.0, 0.5, state="estimated")), LEAST_8))
    assert (finding.value, finding.u, finding.margin, finding.p_outside) == (9.0, 0.5, None, None)
    assert "only estimated" in finding.says


def test_the_reason_a_reading_is_absent_is_passed_on():
    inputs = foot(stages={"after_fit": measured(**{SOLE: "needs sole_under_tip"})}, plan=Plan())
    assert "needs sole_under_tip" in only(judged(inputs, LEAST_8)).says


def test_no_rule_that_applies_is_not_a_pass():
    judgement = judged(after_fit(reading(SOLE, 9.0), limb="LH"), LEAST_8)
    assert judgement.worst == "nothing_applied"
    assert judgement.summary == "Nothing was checked: no rule applies to this foot"
    assert judged(foot()).worst == "nothing_applied"


@pytest.mark.parametrize(
    ("value", "bound", "verdict", "shown"),
    [
        (50.0, {"at_most": 50.0}, "WITHIN", "50.0°"),
        (50.04, {"at_most": 50.0}, "OUTSIDE", "50.04°"),
        (50.05, {"at_most": 50.0}, "OUTSIDE", "50.05°"),
        (99.45193, {"at_least": 99.5}, "OUTSIDE", "99.45°"),
        (99.96, {"at_least": 100.0}, "OUTSIDE", "99.96°"),
        (49.999999, {"at_most": 50.0}, "WITHIN", "49.999999°"),
        (100.0, {"less_than": 100.0}, "OUTSIDE", "100.0°"),
    ],
)
def test_what_is_compared_is_what_is_shown(value, bound, verdict, shown):
    rule = threshold(tier(unit="deg", **bound), measure=ANGLE)
    finding = only(judged(after_fit(reading(ANGLE, value)), rule))
    assert finding.verdict == verdict
    assert shown in finding.says.split(",")[0]


def test_the_message_shows_on_which_side_of_the_limit_the_value_lies():
    rule = threshold(tier(unit="deg", at_most=50.0), measure=ANGLE)
    finding = only(judged(after_fit(reading(ANGLE, 50.04)), rule))
    assert finding.verdict == "OUTSIDE"
    assert "50.04°" in finding.says
    assert "at most 50°" in finding.says


def test_the_worst_broken_tier_answers():
    severities = {
        value: only(judged(after_fit(reading(SOLE, value)), TIERS)).severity
        for value in (14.0, 10.0, 9.9)
    }
    assert severities == {14.0: "caution", 10.0: "caution", 9.9: "breach"}


def test_of_two_broken_tiers_of_one_severity_the_farther_answers():
    rule = threshold(tier(unit="deg", at_most=3.0), tier(unit="deg", at_most=5.0), measure=ANGLE)
    assert only(judged(after_fit(reading(ANGLE, 6.0)), rule)).limit == 5.0


def test_a_possible_breach_is_not_hidden_behind_a_broken_caution():
    judgement = judged(after_fit(reading(SOLE, 10.5, 0.7)), TIERS)
    assert [(each.verdict, each.severity) for each in judgement.findings] == [
        ("TOO_CLOSE", "breach"),
        ("OUTSIDE", "caution"),
    ]
    assert judgement.worst == "too_close_must"
    assert [each.folded_under for each in judgement.findings] == [None, None]


def test_a_two_sided_limit_counts_both_tails_and_the_nearer_bound_decides():
    rule = threshold(tier(unit="deg", at_least=-1.0, at_most=1.5), measure=ANGLE)
    finding = only(judged(after_fit(reading(ANGLE, 0.5, 1.0)), rule))
    assert (finding.verdict, finding.limit) == ("TOO_CLOSE", 1.5)
    # P(below -1) + P(above 1.5) for a normal variable of mean 0.5 and SD 1
    assert finding.p_outside == pytest.approx(0.0668072 + 0.1586553, abs=1e-6)


def test_an_old_day_gives_the_old_answer():
    rule = threshold(tier(at_least=12.0), tier(since=date(2026, 1, 1), at_least=15.0))
    inputs = after_fit(reading(SOLE, 13.0))
    old = only(judged(inputs, rule, on=date(2025, 12, 31)))
    new = only(judged(inputs, rule, on=date(2026, 1, 1)))
    assert (old.verdict, old.limit_since) == ("WITHIN", "2020-01-01")
    assert (new.verdict, new.limit_since) == ("OUTSIDE", "2026-01-01")
    before = only(judged(inputs, rule, on=date(2019, 12, 31)))
    assert (before.verdict, before.reason) == ("NOT_APPLICABLE", "not_in_force")


def test_a_rule_without_limits_is_not_in_force():
    assert only(judged(after_fit(reading(SOLE, 13.0)), threshold())).reason == "not_in_force"


def test_limits_for_routine_and_therapeutic_feet():
    rule = threshold(
        tier(unit="weeks", at_most=6.0, only="therapeutic"),
        tier(unit="weeks", at_most=8.0, only="routine"),
        measure="interval_weeks",
    )
    plan = Plan(interval_weeks=7.0)
    assert only(judged(foot(plan=plan), rule)).verdict == "WITHIN"
    assert only(judged(foot(plan=plan, conditions=["crack"]), rule)).verdict == "OUTSIDE"


@pytest.mark.parametrize(
    ("applies", "reason"),
    [
        (Applies(conditions=frozenset({"crack"})), "other_condition"),
        (Applies(devices=frozenset({"egg_bar"})), "other_device"),
        (Applies(attachments=frozenset({"nailed"})), "other_attachment"),
        (Applies(animals=None, not_animals=frozenset({"adult_horse"})), "other_animal"),
    ],
)
def test_scope(applies, reason):
    rule = threshold(tier(at_least=8.0), applies=applies)
    inputs = after_fit(reading(SOLE, 9.0))
    assert only(judged(inputs, rule)).reason == reason


def test_a_limit_in_another_unit_cannot_be_judged():
    limit = CaseLimit(SOLE, "after_fit", "must", at_least=1.0, unit="deg")
    finding = only(judged(after_fit(reading(SOLE, 9.0)), limits=[limit]))
    assert (finding.verdict, finding.reason) == ("CANNOT_TELL", "unit_mismatch")


@pytest.mark.parametrize("stage", ["after_fit", "at_due", "change"])
def test_phalangeal_rotation_is_never_foretold(stage):
    code = "phalangeal_rotation_deg"
    limit = CaseLimit(code, stage, "must", at_most=5.0)
    inputs = foot(stages={stage: measured(reading(code, 1.0, basis="predicted"))}, plan=Plan())
    finding = only(judged(inputs, limits=[limit]))
    assert (finding.verdict, finding.reason) == ("CANNOT_TELL", "joint_response_varies")


def test_phalangeal_rotation_on_a_film_is_judged():
    code = "phalangeal_rotation_deg"
    limits = [CaseLimit(code, stage, "must", at_most=5.0) for stage in ("now", "as_fitted")]
    inputs = foot(
        stages={
            "now": measured(reading(code, 1.0)),
            "as_fitted": measured(reading(code, 1.0, basis="predicted")),
        },
        as_fitted=Plan(),
    )
    verdicts = {each.stage: each.verdict for each in judged(inputs, limits=limits).findings}
    assert verdicts == {"now": "WITHIN", "as_fitted": "CANNOT_TELL"}


def test_rules_whose_inputs_a_worksheet_leaves_out_are_not_run():
    plan_rule = threshold(tier(at_most=5.0), rule_id="X02", measure="heel_trim_mm")
    recheck = Rule(
        "X03", "Recheck", "Name one.", "presence", "now", (tier(unit=None),), of="recheck"
    )
    judgement = judged(foot(), LEAST_8, plan_rule, recheck)
    assert judgement.not_run == ("X01", "X02", "X03")
    assert judgement.findings == ()
    case = judged(foot(), recheck, complete=True)
    assert (only(case).verdict, case.worst) == ("CANNOT_TELL", "cannot_tell")


def test_a_case_limit_on_a_plan_that_is_not_there_is_not_run():
    limit = CaseLimit("heel_trim_mm", "as_fitted", "must", at_most=5.0)
    assert judged(foot(plan=Plan()), limits=[limit]).not_run == ("case:0",)


def test_what_the_plan_says_is_judged_without_uncertainty():
    rule = threshold(tier(at_most=5.0), measure="heel_trim_mm")
    finding = only(judged(foot(plan=Plan(heel_trim_mm=5.0)), rule))
    assert (finding.verdict, finding.value, finding.u) == ("WITHIN", 5.0, 0.0)
    one_side = Plan(heel_trim_mm=4.0, heel_trim_medial_mm=2.0, heel_trim_lateral_mm=6.0)
    assert only(judged(foot(plan=one_side), rule)).value == 6.0


def test_a_plan_that_was_not_supplied_has_no_quantities():
    assert find_quantity(foot(), "heel_trim_mm", "after_fit").reason == "missing_fact"
    assert is_supplied(foot(), SOLE, "now")


@pytest.mark.parametrize(
    ("value", "u", "severity", "worst"),
    [
        (9.0, 0.0, "red_flag", "red_flag"),
        (9.0, 0.0, "breach", "breach"),
        (None, 0.0, "breach", "cannot_tell_must"),
        (None, 0.0, "red_flag", "cannot_tell_must"),
        (10.0, 1.0, "breach", "too_close_must"),
        (9.0, 0.0, "caution", "caution"),
        (10.0, 1.0, "caution", "too_close"),
        (None, 0.0, "caution", "cannot_tell"),
        (9.0, 0.0, "note", "note"),
        (None, 0.0, "note", "note"),
        (10.0, 1.0, "note", "note"),
        (12.0, 0.0, "breach", "within"),
    ],
)
def test_worst(value, u, severity, worst):
    inputs = after_fit(*([] if value is None else [reading(SOLE, value, u)]))
    assert judged(inputs, threshold(tier(severity, at_least=10.0))).worst == worst


def test_the_summary_counts_what_matters_and_says_why_the_rest_is_unchecked():
    inputs = after_fit(
        reading(SOLE, 9.0, state="none"),
        reading("breakover_distance_mm", 9.0, state="none"),
        reading(ANGLE, 1.0),
        reading("behind_centre_percent", 50.0, 1.0),
        facts=Facts(red_flags=("blood_or_live_tissue", "fever")),
    )
    flag = Rule(
        "X09",
        "Red flags",
        "Call.",
        "red_flag",
        "now",
        (tier("red_flag", unit=None),),
        of="red_flags",
    )
    judgement = judged(
        inputs,
        LEAST_8,
        threshold(tier(at_most=20.0), rule_id="X02", measure="breakover_distance_mm"),
        threshold(tier(unit="deg", at_least=2.0), rule_id="X03", measure=ANGLE),
        threshold(
            tier(unit="percent", at_least=50.0), rule_id="X04", measure="behind_centre_percent"
        ),
        flag,
    )
    assert judgement.summary == (
        "1 red flag: call the vet now, 1 limit broken, 1 too close to call, "
        "2 cannot be checked: the film has no scale"
    )
    assert judgement.findings[0].rule == "X09"
    assert "blood or live tissue, fever" in judgement.findings[0].says


def test_the_summary_names_every_reason_the_commonest_first():
    inputs = after_fit(reading(SOLE, 9.0, state="none"))
    rules = [
        LEAST_8,
        *(
            threshold(tier(unit="deg", at_least=1), rule_id=f"X0{n}", measure=f"{n}_deg")
            for n in (2, 3)
        ),
    ]
    assert judged(inputs, *rules).summary == (
        "3 cannot be checked: the reading is missing; the film has no scale"
    )


def test_the_summary_when_all_is_well_and_when_there_is_a_note():
    assert judged(after_fit(reading(SOLE, 9.0)), LEAST_8).summary == (
        "1 checked, all within their limits"
    )
    notes = threshold(tier("note", at_least=10.0))
    assert judged(after_fit(reading(SOLE, 9.0)), notes).summary == "1 note"


def test_the_strictest_rule_on_a_fact_is_shown_and_the_others_fold_under_it():
    strict = threshold(tier("breach", at_least=12.0), rule_id="X02")
    judgement = judged(after_fit(reading(SOLE, 11.0)), threshold(tier(at_least=15.0)), strict)
    assert [(each.rule, each.folded_under) for each in judgement.findings] == [
        ("X02", None),
        ("X01", "X02"),
    ]
    assert judgement.summary == "1 limit broken"


def test_a_limit_from_memory_is_marked():
    from dataclasses import replace

    rule = threshold(replace(tier(at_least=15.0), evidence="from memory"))
    assert only(judged(after_fit(reading(SOLE, 11.0)), rule)).says.endswith(
        "The limit is from memory."
    )


def test_a_tiny_excess_is_printed_in_full():
    rule = threshold(tier(at_most=15.0))
    assert "15.000000003 mm" in only(judged(after_fit(reading(SOLE, 15.000000003)), rule)).says
