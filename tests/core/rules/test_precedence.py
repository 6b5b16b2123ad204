"""The vet's limit over the practice's over the shipped one, side by side."""

import pytest

from referral.core.errors import BadRule
from referral.core.predict.plan import Plan
from referral.core.rules.claims import rule_claim
from referral.core.rules.finding import CaseLimit
from referral.core.rules.judging import judge
from referral.core.rules.rule import Rule
from tests.core.rules.feet import ANGLE, DAY, SOLE, after_fit, book, reading, threshold, tier

SHIPPED = threshold(tier(at_least=15.0), tier("breach", at_least=10.0))


def by_rule(value, *limits, rules=(SHIPPED,), u=0.0, **parts):
    found = judge(after_fit(reading(SOLE, value, u), **parts), book(*rules), limits, DAY).findings
    return {each.rule: each for each in found}


def test_a_must_takes_the_place_of_every_tier_of_that_side():
    found = by_rule(9.0, CaseLimit(SOLE, "after_fit", "must", at_least=8.0, reason="thin all over"))
    assert (found["case:0"].verdict, found["case:0"].severity) == ("WITHIN", "breach")
    assert (found["case:0"].limit_from, found["case:0"].source) == ("case", None)
    replaced = found["X01"]
    assert (replaced.verdict, replaced.severity) == ("NOT_APPLICABLE", "note")
    assert replaced.reason == "replaced_by_case_limit"
    assert replaced.folded_under == "case:0"
    assert "at least 15 mm: caution, at least 10 mm: breach" in replaced.says


def test_a_looser_limit_says_so_with_its_reason_or_that_there_is_none():
    looser = CaseLimit(SOLE, "after_fit", "must", at_least=8.0, reason="thin all over")
    found = by_rule(9.0, looser)["case:0"]
    assert found.looser_than_shipped
    assert "looser than the shipped limit (at least 15 mm: caution, at least 10" in found.says
    assert found.says.endswith("Reason: thin all over.")
    silent = by_rule(9.0, CaseLimit(SOLE, "after_fit", "must", at_least=8.0))["case:0"]
    assert silent.says.endswith("No reason is given.")
    stricter = by_rule(9.0, CaseLimit(SOLE, "after_fit", "must", at_least=16.0))["case:0"]
    assert not stricter.looser_than_shipped


def test_a_looser_limit_says_so_even_if_it_cannot_be_judged():
    limit = CaseLimit(SOLE, "after_fit", "must", at_least=8.0)
    found = judge(after_fit(), book(SHIPPED), [limit], DAY).findings
    assert found[0].reason == "missing_reading"
    assert "looser" in found[0].says


def test_a_should_never_lowers_a_shipped_breach():
    found = judge(
        after_fit(reading(SOLE, 9.0)),
        book(SHIPPED),
        [CaseLimit(SOLE, "after_fit", "should", at_least=8.0)],
        DAY,
    )
    assert found.worst == "breach"
    answers = [(each.rule, each.verdict, each.severity) for each in found.findings]
    assert answers == [
        ("X01", "OUTSIDE", "breach"),
        ("case:0", "WITHIN", "caution"),
        ("X01", "NOT_APPLICABLE", "note"),
    ]


def test_an_at_least_never_removes_an_at_most():
    rule = threshold(tier(unit="deg", at_least=2.0, at_most=10.0), measure=ANGLE)
    limit = CaseLimit(ANGLE, "after_fit", "must", at_least=4.0)
    judgement = judge(after_fit(reading(ANGLE, 12.0)), book(rule), [limit], DAY)
    answers = [(each.rule, each.verdict, each.limit) for each in judgement.findings]
    assert answers == [
        ("X01", "OUTSIDE", 10.0),
        ("case:0", "WITHIN", 4.0),
        ("X01", "NOT_APPLICABLE", 2.0),
    ]


@pytest.mark.parametrize("stage", ["now", "at_due"])
def test_a_limit_of_another_stage_replaces_nothing(stage):
    found = by_rule(9.0, CaseLimit(SOLE, stage, "must", at_least=8.0))
    assert found["X01"].verdict == "OUTSIDE"


def test_a_limit_of_another_limb_is_not_applicable_and_replaces_nothing():
    found = by_rule(9.0, CaseLimit(SOLE, "after_fit", "must", at_least=8.0, limb="RF"))
    assert found["case:0"].reason == "other_limb"
    assert found["X01"].verdict == "OUTSIDE"
    mine = by_rule(9.0, CaseLimit(SOLE, "after_fit", "must", at_least=8.0, limb="LF"))
    assert mine["case:0"].verdict == "WITHIN"


def test_a_red_flag_is_never_replaced():
    flag = threshold(tier("red_flag", at_least=5.0))
    found = by_rule(4.0, CaseLimit(SOLE, "after_fit", "must", at_least=3.0), rules=(flag,))
    assert (found["X01"].verdict, found["X01"].severity) == ("OUTSIDE", "red_flag")
    assert not found["case:0"].looser_than_shipped


def test_a_practice_limit_stands_between_case_and_shipped():
    practice = threshold(
        tier(at_least=18.0), tier("breach", at_least=12.0), rule_id="P01", origin="practice"
    )
    found = by_rule(11.0, rules=(SHIPPED, practice))
    assert (found["P01"].limit_from, found["P01"].severity) == ("practice", "breach")
    assert found["X01"].reason == "replaced_by_practice_limit"
    both = by_rule(
        11.0, CaseLimit(SOLE, "after_fit", "must", at_least=10.0), rules=(SHIPPED, practice)
    )
    assert both["P01"].reason == both["X01"].reason == "replaced_by_case_limit"
    assert both["case:0"].verdict == "WITHIN"


def test_a_practice_limit_looser_than_the_shipped_one_is_marked():
    practice = threshold(tier("breach", at_least=8.0), rule_id="P01", origin="practice")
    assert by_rule(9.0, rules=(SHIPPED, practice))["P01"].looser_than_shipped


def test_upper_limits_are_compared_the_other_way_round():
    rule = threshold(tier(at_most=5.0), measure="heel_trim_mm")
    limits = [CaseLimit("heel_trim_mm", "after_fit", "must", at_most=8.0)]
    judgement = judge(after_fit(plan=Plan(heel_trim_mm=7.0)), book(rule), limits, DAY)
    assert judgement.findings[0].looser_than_shipped
    assert judgement.worst == "within"


def test_the_vets_limit_applies_to_any_animal_and_limb():
    found = by_rule(
        9.0, CaseLimit(SOLE, "after_fit", "must", at_least=10.0), limb="RH", animal="donkey"
    )
    assert found["case:0"].verdict == "OUTSIDE"
    assert found["X01"].verdict == "NOT_APPLICABLE"


@pytest.mark.parametrize(
    "limit",
    [
        CaseLimit(SOLE, "after_fit", "must"),
        CaseLimit(SOLE, "after_fit", "perhaps", at_least=8.0),
    ],
)
def test_a_limit_that_says_nothing_is_refused(limit):
    with pytest.raises(BadRule, match="at_least or at_most"):
        by_rule(9.0, limit)


def test_a_rule_without_a_measure_makes_no_claim():
    rule = Rule("X03", "Recheck", "Name one.", "presence", "now", (), of="recheck")
    with pytest.raises(ValueError, match="X03 has no measure"):
        rule_claim(rule, ())
