"""The book of an organisation on a day: what is shipped, with what it has set."""

from dataclasses import replace
from datetime import date

import pytest

from referral.core.rules.rule import Limit, Rule, Rulebook
from referral.rulebook.loader import content_hash, load_rulebook
from referral.rulebook.overrides import Override, effective_book, is_fixed, is_looser, newest_limits

DAY = date(2026, 12, 1)
EVE = date(2026, 11, 30)
BOOK = load_rulebook()
SOLE = next(rule for rule in BOOK.rules if rule.id == "R04")
FLAGS = next(rule for rule in BOOK.rules if rule.id == "R24")


def tiers(caution, breach, since=DAY):
    return tuple(
        replace(limit, since=since, at_least=value)
        for limit, value in zip(SOLE.limits, (caution, breach), strict=True)
    )


def override(stance="limits", since=DAY, limits=None, rule="R04", **more):
    given = tiers(12.0, 8.0, since) if stance == "limits" and limits is None else limits or ()
    return Override(rule, stance, "Hill Practice", since, "soft ground", given, **more)


def sole_in(book):
    return next(rule for rule in book.rules if rule.id == "R04")


def test_nothing_set_is_the_very_book():
    assert effective_book(BOOK, (), DAY) is BOOK
    assert effective_book(BOOK, [override(since=DAY)], EVE) is BOOK


def test_a_change_begins_on_its_day_and_has_its_own_hash():
    book = effective_book(BOOK, [override()], DAY)
    assert [limit.at_least for limit in sole_in(book).limits] == [12.0, 8.0]
    change = sole_in(book).change
    assert (change.by, change.since, change.shipped) == ("Hill Practice", DAY, SOLE.limits)
    assert change.is_looser
    assert not change.is_off
    assert book.content_hash not in (BOOK.content_hash, SOLE)
    assert book.content_hash == content_hash(book.rules)
    assert len(book.rules) == len(BOOK.rules)


def test_the_same_rows_make_the_same_book_and_another_reason_another():
    one = effective_book(BOOK, [override()], DAY)
    assert effective_book(BOOK, [override()], date(2027, 6, 1)).content_hash == one.content_hash
    other = effective_book(BOOK, [replace(override(), reason="other")], DAY)
    assert other.content_hash != one.content_hash


def test_the_last_to_begin_counts_and_of_one_day_the_last_written():
    later = replace(override(since=date(2027, 1, 1)), limits=tiers(11.0, 7.0, date(2027, 1, 1)))
    rows = [later, override()]
    assert sole_in(effective_book(BOOK, rows, date(2026, 12, 31))).limits[0].at_least == 12.0
    assert sole_in(effective_book(BOOK, rows, date(2027, 1, 1))).limits[0].at_least == 11.0
    back = [override(), override("shipped")]
    assert effective_book(BOOK, back, DAY) is BOOK
    assert effective_book(BOOK, back[::-1], DAY) is not BOOK


def test_a_rule_put_off_stays_in_the_book_with_its_limits():
    rule = sole_in(effective_book(BOOK, [override("off")], DAY))
    assert rule.limits == SOLE.limits
    assert rule.change.is_off
    assert rule.change.is_looser


def test_a_red_flag_stays_as_it_is():
    assert is_fixed(FLAGS)
    assert effective_book(BOOK, [override("off", rule="R24")], DAY) is BOOK


def test_an_own_rule_is_there_from_its_day_until_it_is_put_off():
    own = replace(SOLE, id="HILL01", limits=tiers(14.0, 12.0, date(2020, 1, 1)))
    set_ = override("own", rule="HILL01", own=own)
    assert effective_book(BOOK, [set_], EVE) is BOOK
    book = effective_book(BOOK, [set_], DAY)
    assert len(book.rules) == len(BOOK.rules) + 1
    rule = next(each for each in book.rules if each.id == "HILL01")
    assert (rule.origin, rule.change.shipped, rule.change.is_looser) == ("practice", (), False)
    ended = override("off", since=date(2027, 1, 1), rule="HILL01")
    assert effective_book(BOOK, [set_, ended], date(2027, 1, 1)) is BOOK


def test_an_own_rule_never_takes_the_place_of_one_in_the_book():
    own = replace(SOLE, title="Mine")
    assert effective_book(BOOK, [override("own", own=own)], DAY) is BOOK


def test_a_limit_to_come_changes_the_hash_on_its_day():
    coming = replace(SOLE, limits=(*SOLE.limits, replace(SOLE.limits[0], since=DAY)))
    book = Rulebook((coming,), content_hash((coming,)))
    before = effective_book(book, (), EVE)
    assert before.rules[0].limits == SOLE.limits
    assert before.content_hash != book.content_hash
    assert effective_book(book, (), DAY) is book


def test_a_rule_that_is_not_in_force_yet_is_not_set_otherwise():
    coming = replace(SOLE, limits=tiers(15.0, 10.0, date(2030, 1, 1)))
    book = Rulebook((coming,), content_hash((coming,)))
    assert effective_book(book, [override()], DAY).rules[0].change is None
    assert newest_limits(coming, DAY) == ()


def test_limits_of_another_number_count_as_looser():
    one = replace(override(), limits=tiers(20.0, 15.0)[:1])
    assert sole_in(effective_book(BOOK, [one], DAY)).change.is_looser


TEN = Limit(date(2020, 1, 1), "breach", "textbook", "-", "mm", at_least=10.0)
FIVE = replace(TEN, at_least=None, at_most=5.0)


@pytest.mark.parametrize(
    ("before", "after", "wanted"),
    [
        (TEN, replace(TEN, at_least=10.0 - 1e-12), False),
        (TEN, replace(TEN, at_least=9.9), True),
        (TEN, replace(TEN, at_least=10.1), False),
        (TEN, replace(TEN, severity="red_flag"), False),
        (TEN, replace(TEN, severity="caution", at_least=20.0), True),
        (FIVE, replace(FIVE, at_most=5.1), True),
        (FIVE, replace(FIVE, at_most=4.9), False),
        (replace(TEN, at_most=20.0), TEN, True),
        (TEN, replace(TEN, at_most=20.0), False),
        (replace(TEN, at_least=None, more_than=10.0), TEN, True),
        (TEN, replace(TEN, at_least=None, more_than=10.0), False),
    ],
)
def test_looser_is_whatever_lets_more_pass_or_says_less_of_it(before, after, wanted):
    assert is_looser([before], [after]) is wanted


NOTE = replace(TEN, severity="note", at_least=15.0)
SICK = replace(TEN, only="therapeutic")
WORDS = Limit(date(2020, 1, 1), "breach", "textbook", "-")


@pytest.mark.parametrize(
    ("before", "after", "wanted"),
    [
        ([TEN], [TEN, NOTE], False),
        ([TEN, NOTE], [TEN], True),
        ([TEN, NOTE], [replace(TEN, at_least=9.0), NOTE, TEN], False),
        ([TEN, NOTE], [TEN, replace(NOTE, at_least=14.0), replace(NOTE, at_least=12.0)], True),
        ([TEN], [replace(TEN, at_least=9.0), SICK], True),
        ([SICK], [replace(SICK, at_least=9.0), TEN], False),
        # what has no number is known by its place alone
        ([WORDS, WORDS], [WORDS, replace(WORDS, severity="note")], True),
        ([WORDS, WORDS], [WORDS], True),
    ],
)
def test_a_tier_more_loosens_nothing_and_stands_in_for_none_of_other_feet(before, after, wanted):
    assert is_looser(before, after) is wanted


def test_a_tier_more_is_judged_and_said_to_be_set():
    more = replace(SOLE.limits[0], since=DAY, severity="note", at_least=20.0)
    kept = tuple(replace(each, since=DAY) for each in SOLE.limits)
    rule = sole_in(effective_book(BOOK, [replace(override(), limits=(*kept, more))], DAY))
    assert [(each.severity, each.at_least) for each in rule.limits][-1] == ("note", 20.0)
    assert not rule.change.is_looser


def test_a_rule_without_numbers_is_looser_by_its_severity_alone():
    flag = Limit(date(2020, 1, 1), "breach", "textbook", "-")
    rule = Rule("X01", "Recheck", "Name.", "presence", "now", (flag,), of="recheck")
    book = Rulebook((rule,), "-")
    set_ = Override("X01", "limits", "Hill", DAY, "so", (replace(flag, severity="note"),))
    assert effective_book(book, [set_], DAY).rules[0].change.is_looser
