"""A rule that an organisation set otherwise, or put off, says so on every foot it judges."""

from dataclasses import replace
from datetime import date

import pytest

from referral.core.rules.changed import change_words
from referral.core.rules.claims import rule_claim
from referral.core.rules.finding import CaseLimit
from referral.core.rules.judging import claims_on, judge
from referral.core.rules.rule import Limit, Rule, RuleChange
from tests.core.rules.feet import DAY, SOLE, after_fit, book, reading, threshold, tier

BEFORE = (tier(at_least=15.0), tier("breach", at_least=10.0))
NOW = (tier(at_least=12.0), tier("breach", at_least=8.0))
CHANGE = RuleChange("Hill Practice", date(2026, 11, 1), "soft ground", BEFORE, is_looser=True)
CHANGED = threshold(*NOW, change=CHANGE)
OFF = threshold(*BEFORE, change=replace(CHANGE, is_off=True))
SAID = (
    "Shipped limit: at least 15 mm: caution, at least 10 mm: breach; "
    "loosened by Hill Practice since 2026-11-01, because: soft ground."
)


def found(value, rule, *limits, others=()):
    judged = judge(after_fit(reading(SOLE, value)), book(rule, *others), limits, DAY)
    return {each.rule: each for each in judged.findings}


@pytest.mark.parametrize(
    ("value", "verdict", "severity"),
    [(13.0, "WITHIN", "caution"), (9.0, "OUTSIDE", "caution"), (7.0, "OUTSIDE", "breach")],
)
def test_a_loosened_limit_says_what_was_shipped_whatever_the_answer(value, verdict, severity):
    finding = found(value, CHANGED)["X01"]
    assert (finding.verdict, finding.severity) == (verdict, severity)
    assert finding.says.endswith(SAID)
    assert (finding.limit_from, finding.looser_than_shipped) == ("practice", True)


def test_it_says_so_where_nothing_can_be_told_too():
    (finding,) = judge(after_fit(), book(CHANGED), (), DAY).findings
    assert finding.verdict == "CANNOT_TELL"
    assert finding.says.endswith(SAID)


def test_a_rule_that_is_put_off_does_not_pass_and_does_not_vanish():
    judged = judge(after_fit(reading(SOLE, 7.0)), book(OFF), (), DAY)
    (finding,) = judged.findings
    assert (finding.verdict, finding.reason) == ("NOT_APPLICABLE", "put_off")
    assert finding.says == (
        "Sole depth: not judged, the practice has put this rule off. "
        + SAID.replace("loosened", "put off")
    )
    assert judged.summary.startswith("Nothing was checked")
    assert found(7.0, OFF)["X01"].looser_than_shipped


def test_a_stricter_change_is_named_and_is_no_loosening():
    change = replace(CHANGE, is_looser=False)
    finding = found(17.0, threshold(tier(at_least=18.0), change=change))["X01"]
    assert finding.verdict == "OUTSIDE"
    assert "changed by Hill Practice" in finding.says
    assert not finding.looser_than_shipped


def test_a_changed_rule_takes_the_place_of_no_other():
    other = threshold(*BEFORE, rule_id="X02")
    answers = found(9.0, CHANGED, others=[other])
    assert (answers["X02"].verdict, answers["X02"].severity) == ("OUTSIDE", "breach")
    assert answers["X02"].limit_from == "shipped"
    assert "Hill Practice" not in answers["X02"].says


def test_a_vets_limit_is_held_against_what_was_shipped_not_against_what_was_loosened():
    limit = CaseLimit(SOLE, "after_fit", "must", at_least=9.0, reason="this foot")
    answers = found(9.5, CHANGED, limit)
    assert answers["case:0"].looser_than_shipped
    assert "at least 10 mm: breach" in answers["case:0"].says
    assert answers["X01"].reason == "replaced_by_case_limit"
    assert answers["X01"].says.endswith(SAID)


def test_only_the_limits_of_such_feet_are_held_against_it():
    before = (tier(only="routine", at_least=15.0), tier(only="therapeutic", at_least=10.0))
    rule = threshold(tier(only="routine", at_least=12.0), change=replace(CHANGE, shipped=before))
    assert [bound.limit for bound in rule_claim(rule, rule.limits).shipped] == [15.0]
    own = threshold(tier(at_least=12.0), origin="practice")
    assert rule_claim(own, own.limits).shipped == ()


def test_an_own_rule_says_whose_it_is_and_why():
    change = RuleChange("Hill Practice", date(2026, 11, 1), "we saw it fail.")
    assert change_words(change) == (
        "A rule of Hill Practice since 2026-11-01, because: we saw it fail."
    )
    own = threshold(tier("breach", at_least=5.0), rule_id="H01", origin="practice", change=change)
    answers = found(6.0, own, others=[threshold(*BEFORE)])
    assert answers["H01"].looser_than_shipped
    assert "looser than the shipped limit (at least 15 mm: caution" in answers["H01"].says
    assert "Reason: we saw it fail." in answers["H01"].says


def test_limits_without_a_number_are_named_by_their_severity():
    shipped = (Limit(date(2020, 1, 1), "breach", "textbook", "-"),)
    change = RuleChange("Hill Practice", date(2026, 11, 1), "so", shipped, is_looser=True)
    note = (replace(shipped[0], severity="note"),)
    rule = Rule("X03", "Recheck", "Name one.", "presence", "now", note, of="recheck", change=change)
    settled, others = claims_on(after_fit(), book(rule), (), DAY)
    assert settled == ()
    assert [each.says for each in others] == []
    (finding,) = judge(after_fit(), book(rule), (), DAY, complete=True).findings
    assert (finding.severity, finding.limit_from) == ("note", "practice")
    assert "Shipped limit: breach; loosened by Hill Practice" in finding.says
