"""A rule that is to be set otherwise is tried on its own examples and on stated values."""

from dataclasses import replace
from datetime import date

import pytest

from referral.core.rules.rule import Applies
from referral.rulebook.checking import checked_rulebook
from referral.rulebook.faults import RulebookFault
from referral.rulebook.loader import SHIPPED, load_rulebook, read_rule_files
from referral.rulebook.trying import answer_of, tried_examples, with_value
from tests.rulebook.texts import GOOD, write

FILES = {each.rule.id: each for each in read_rule_files(SHIPPED, "shipped")}


def changed(rule_id, **more):
    rule = FILES[rule_id].rule
    limits = tuple(replace(limit, since=date(2030, 1, 1), **more) for limit in rule.limits)
    return replace(rule, limits=limits)


def test_no_example_changes_under_the_same_limits_of_a_later_day():
    for rule_id, file in FILES.items():
        assert [each for each in tried_examples(file, changed(rule_id)) if each.is_changed] == []


def test_examples_that_limits_decide_may_change_and_others_may_not():
    tried = tried_examples(FILES["R04"], changed("R04", at_least=5.0))
    assert [(each.before[0], each.after[0]) for each in tried if each.is_changed] == [
        ("TOO_CLOSE", "WITHIN"),
        ("OUTSIDE", "WITHIN"),
        ("OUTSIDE", "WITHIN"),
    ]
    assert not any(each.is_wrong for each in tried)
    ponies = replace(FILES["R04"].rule, applies=Applies(animals=frozenset({"pony"})))
    wrong = [each for each in tried_examples(FILES["R04"], ponies) if each.is_wrong]
    assert {(each.before[0], each.after[0]) for each in wrong} >= {
        ("WITHIN", "NOT_APPLICABLE"),
        ("NOT_APPLICABLE", "OUTSIDE"),
    }


def test_an_example_that_is_not_run_is_an_answer_of_its_own():
    file = FILES["R27"]
    bare = replace(file.examples[0], inputs=replace(file.examples[0].inputs, facts=None))
    assert answer_of(file.rule, replace(bare, on_case=False)) == ("nothing", "note")


@pytest.mark.parametrize(
    ("rule_id", "value", "answers"),
    [
        ("R04", 9.99, [("OUTSIDE", "breach")]),
        ("R04", 10.0, [("OUTSIDE", "caution")]),
        ("R04", 15.0, [("WITHIN", "caution")]),
        ("R07", 6.0, [("OUTSIDE", "caution"), ("WITHIN", "breach")]),
        ("R07", 10.5, [("OUTSIDE", "breach"), ("OUTSIDE", "breach")]),
        ("R16", 5.0, []),
        ("R47", 5.0, []),
        ("R26", 5.0, []),
    ],
)
def test_a_stated_value_is_answered_on_every_foot_the_rule_is_for(rule_id, value, answers):
    file = FILES[rule_id]
    assert [answer_of(file.rule, each) for each in with_value(file, value)] == answers


def test_a_threshold_without_its_reading_in_an_example_has_no_value_to_state():
    file = FILES["R04"]
    other = replace(file, rule=replace(file.rule, stage="now"))
    assert with_value(other, 9.0) == ()


def test_an_instance_s_folder_is_read_with_its_examples_run(tmp_path):
    own = GOOD.replace("R90", "HILL01")
    book = checked_rulebook(write(tmp_path / "good", own, "sole/HILL01.toml"))
    assert len(book.rules) == len(load_rulebook().rules) + 1
    wrong = write(tmp_path / "wrong", own.replace("value = 12", "value = 16"), "sole/HILL01.toml")
    with pytest.raises(RulebookFault, match="the example says OUTSIDE but the rule answers WITHIN"):
        checked_rulebook(wrong)
