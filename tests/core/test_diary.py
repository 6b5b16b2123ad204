"""Due dates as plain dates of the yard, who is shown them, and times over a changed clock.

Moments of clock changes are from the IANA time zone database, which the standard library
reads; days of caution and alert are common practice, no source.
"""

import doctest
from datetime import UTC, date, datetime, time, timedelta

import pytest

from referral.clock import day_at
from referral.core import diary
from referral.core.diary import Dated, Lateness, OnTheClock, What, due_items, lateness, wall_time
from referral.core.workflow import Happening, Role
from referral.web.written import day as written_day

DUE = date(2026, 5, 1)
FITTED = date(2026, 11, 2)


def test_the_examples_hold():
    assert doctest.testmod(diary).failed == 0


@pytest.mark.parametrize(
    ("days", "wanted"),
    [(-8, "later"), (-7, "due"), (0, "due"), (1, "overdue"), (7, "overdue"),
     (8, "caution"), (14, "caution"), (15, "alert")],
)  # fmt: skip
def test_late_is_a_caution_after_seven_days_and_an_alert_after_fourteen(days, wanted):
    assert lateness(DUE, DUE + timedelta(days=days)).value == wanted


def test_a_shoe_on_for_more_than_ten_weeks_is_an_alert_whatever_was_planned():
    ten_weeks = FITTED + timedelta(weeks=10)
    due = ten_weeks + timedelta(days=3)
    assert lateness(due, ten_weeks, FITTED) is Lateness.DUE
    assert lateness(due, ten_weeks + timedelta(days=1), FITTED) is Lateness.ALERT


@pytest.mark.parametrize(
    ("zone", "last_moment"),
    [
        ("America/New_York", datetime(2026, 5, 2, 3, 59, tzinfo=UTC)),
        ("Europe/London", datetime(2026, 5, 1, 22, 59, tzinfo=UTC)),
        ("Asia/Tokyo", datetime(2026, 5, 1, 14, 59, tzinfo=UTC)),
        ("Pacific/Auckland", datetime(2026, 5, 1, 11, 59, tzinfo=UTC)),
    ],
)
def test_a_due_date_is_the_same_everywhere_and_late_by_the_yards_own_midnight(zone, last_moment):
    assert written_day(DUE) == "1 May 2026"
    assert lateness(DUE, day_at(last_moment, zone)) is Lateness.DUE
    assert lateness(DUE, day_at(last_moment + timedelta(minutes=1), zone)) is Lateness.OVERDUE


@pytest.mark.parametrize(
    ("start", "utc"),
    [
        (date(2026, 3, 20), datetime(2026, 5, 1, 8, 0, tzinfo=UTC)),
        (date(2026, 9, 18), datetime(2026, 10, 30, 9, 0, tzinfo=UTC)),
    ],
)
def test_forty_two_days_on_a_visit_is_at_the_same_time_of_the_yards_clock(start, utc):
    found = wall_time(start + timedelta(days=42), time(9), "Europe/London")
    assert (found.kind, found.moments) == (OnTheClock.ONCE, (utc,))


def test_an_hour_that_is_missing_or_comes_twice_is_told():
    assert wall_time(date(2026, 3, 29), time(1, 30), "Europe/London").kind is OnTheClock.MISSING
    twice = wall_time(date(2026, 10, 25), time(1, 30), "Europe/London")
    assert twice.kind is OnTheClock.TWICE
    assert [moment.hour for moment in twice.moments] == [0, 1]


def entry(kind, role, on, **facts):
    return Dated(Happening(kind, role, facts), on)


RESET = (
    entry("case_opened", "vet", FITTED),
    entry("reset_recorded", "farrier", FITTED, n=1, due_on="2026-12-07"),
    entry("reset_countersigned", "vet", FITTED, recheck_on="2026-12-04", recheck_owner="vet"),
)
CHECKED = entry("after_check_recorded", "owner", FITTED + timedelta(days=2))


def said(entries, today, **given):
    return [
        (each.what.name, each.due_on.isoformat(), each.owner.value, each.lateness.value)
        for each in due_items(entries, today, **{"has_owner": True, **given})
    ]


def test_a_reset_a_recheck_and_the_check_after_fitting_are_due():
    assert said(RESET, FITTED) == [
        ("RECHECK", "2026-12-04", "vet", "later"),
        ("RESET", "2026-12-07", "farrier", "later"),
    ]
    after = said(RESET, FITTED + timedelta(days=1))
    assert after[0] == ("AFTER_CHECK", "2026-11-05", "owner", "due")
    late = said(RESET, FITTED + timedelta(days=4), has_owner=False)
    assert late[0] == ("AFTER_CHECK", "2026-11-05", "farrier", "overdue")
    done = said([*RESET, CHECKED], FITTED + timedelta(days=4))
    assert [each[0] for each in done] == ["RECHECK", "RESET"]


def test_a_check_of_the_reset_before_does_not_stand_for_this_one():
    again = entry("reset_recorded", "farrier", date(2026, 12, 7), n=2, due_on="2027-01-11")
    today = date(2026, 12, 9)
    assert "AFTER_CHECK" in [each[0] for each in said([*RESET, CHECKED, again], today)]


@pytest.mark.parametrize(("days", "still_due"), [(0, True), (1, False), (3, False), (5, False)])
def test_a_check_on_the_day_of_the_fitting_is_too_early_to_be_the_one_after_it(days, still_due):
    """24 to 72 hours after a fitting: common practice, no source."""
    made = entry("after_check_recorded", "owner", FITTED + timedelta(days=days))
    again = entry("after_check_recorded", "owner", FITTED)  # of the day, entered last
    for checks in ([made], [made, again]):
        due = said([*RESET, *checks], FITTED + timedelta(days=6))
        assert ("AFTER_CHECK" in [each[0] for each in due]) is still_due


def test_what_was_seen_before_a_recheck_was_set_does_not_end_it():
    seen = entry("film_added", "vet", date(2026, 11, 28))
    soon = entry("recheck_set", "vet", FITTED, recheck_on="2026-12-01", recheck_owner="vet")
    later = date(2026, 12, 20)
    late = [each.what for each in due_items([*RESET, seen, soon], later, has_owner=False)]
    assert What.RECHECK in late
    done = [each.what for each in due_items([*RESET, soon, seen], later, has_owner=False)]
    assert What.RECHECK not in done


def test_a_recheck_ends_when_its_owner_has_looked_near_its_day():
    late = date(2026, 12, 20)
    by_other = entry("observation_added", "farrier", date(2026, 12, 4))
    too_early = entry("film_added", "vet", date(2026, 11, 10))
    seen = entry("film_added", "vet", date(2026, 12, 3))
    assert "RECHECK" in [each[0] for each in said([*RESET, by_other, too_early], late)]
    assert "RECHECK" not in [each[0] for each in said([*RESET, seen], late)]


@pytest.mark.parametrize(
    ("urgency", "due"),
    [("now", "2026-11-02"), ("24_hours", "2026-11-03"), ("7_days", "2026-11-09"),
     ("routine", "2026-11-16"), (None, "2026-11-16")],
)  # fmt: skip
def test_a_referral_waits_no_longer_than_its_urgency(urgency, due):
    sent = entry("referral_sent", "vet", FITTED, n=1, urgency=urgency)
    assert said([sent], FITTED)[0][:3] == ("REFERRAL", due, "farrier")
    taken = entry("referral_acknowledged", "farrier", FITTED)
    assert said([sent, taken], FITTED) == []


def test_a_managed_flag_is_looked_at_again_on_its_day():
    flag = entry("red_flag_raised", "owner", FITTED, flag="a")
    answer = entry("red_flag_answered", "vet", FITTED, flag="a", until="2026-11-10")
    assert said([RESET[0], flag, answer], FITTED)[0][:3] == ("MANAGED", "2026-11-10", "vet")
    looked = entry("observation_added", "vet", date(2026, 11, 10))
    assert said([RESET[0], flag, answer, looked], FITTED) == []


def test_nothing_is_due_on_a_closed_case():
    assert said([*RESET, entry("case_closed", "vet", FITTED)], date(2027, 3, 1)) == []


def test_who_is_shown_it_widens_as_it_gets_later():
    def shown(days):
        items = due_items(RESET, date(2026, 12, 4) + timedelta(days=days), has_owner=True)
        return {r.value for r in next(i for i in items if i.what is What.RECHECK).shown_to}

    assert shown(0) == {"vet"}
    assert shown(1) == {"vet", "coordinator"}
    assert shown(8) == {"vet", "coordinator", "farrier"}
    assert Role.OWNER not in diary.shown_to(Role.VET, Lateness.ALERT)
