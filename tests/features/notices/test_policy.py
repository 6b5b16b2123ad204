"""When mail may go: whole hours of a person's own clock, over the days when clocks change.

The clocks' changes are those of the IANA time zone database (as Python's zoneinfo reads it); the
expected moments below are worked out by hand from the published days of change.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.workflow import Move, Role
from referral.inbox.wording import ADDED, SAYS, mail_says, rule_says
from referral.notices.policy import (
    MAIL_LOST,
    RULE_CHANGED,
    Topic,
    Wishes,
    after_quiet,
    goes_at,
    is_wanted,
    topic_of,
)

NIGHT = {"quiet_from": 22, "quiet_until": 7}
HOURS = st.integers(0, 23)
ZONES = st.sampled_from(
    ["Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "UTC"]
)


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "moment", "goes"),
    [
        # winter, then summer: the same clock on the wall, an hour apart
        ("Europe/London", utc(2026, 1, 10, 23, 30), utc(2026, 1, 11, 7)),
        ("Europe/London", utc(2026, 7, 10, 23, 30), utc(2026, 7, 11, 6)),
        # the night of 28 March 2026, in which London's clocks go from 01:00 to 02:00
        ("Europe/London", utc(2026, 3, 28, 22, 30), utc(2026, 3, 29, 6)),
        # the night of 24 October 2026, in which they go from 02:00 back to 01:00
        ("Europe/London", utc(2026, 10, 24, 21, 30), utc(2026, 10, 25, 7)),
        # New York, 8 March 2026, from 02:00 to 03:00: 22:00 EST to 07:00 EDT
        ("America/New_York", utc(2026, 3, 8, 3), utc(2026, 3, 8, 11)),
        # by day nothing waits
        ("Europe/London", utc(2026, 3, 29, 6), utc(2026, 3, 29, 6)),
        ("Europe/London", utc(2026, 3, 29, 20, 59), utc(2026, 3, 29, 20, 59)),
    ],
)
def test_quiet_hours_end_by_the_clock_on_the_wall(zone, moment, goes):
    assert after_quiet(Wishes(zone, **NIGHT), moment) == goes


def test_an_end_that_the_clocks_leave_out_is_the_hour_after_it():
    wishes = Wishes("Europe/London", quiet_from=22, quiet_until=1)
    assert after_quiet(wishes, utc(2026, 3, 29, 0, 30)) == utc(2026, 3, 29, 1)


@given(zone=ZONES, start=HOURS, end=HOURS, minutes=st.integers(0, 366 * 24 * 60))
def test_mail_goes_in_the_first_minute_that_is_not_quiet(zone, start, end, minutes):
    moment = utc(2026, 1, 1) + timedelta(minutes=minutes)
    wishes = Wishes(zone, quiet_from=start, quiet_until=end if end != start else (end + 1) % 24)

    def quiet(at):
        hour = at.astimezone(ZoneInfo(zone)).hour
        span = [(wishes.quiet_from + each) % 24 for each in range(24)]
        return hour in span[: span.index(wishes.quiet_until)]

    looked_for = moment
    while quiet(looked_for):
        looked_for += timedelta(minutes=1)
    assert after_quiet(wishes, moment) == looked_for


@pytest.mark.parametrize(
    ("made_at", "goes"),
    [
        (utc(2026, 3, 28, 6, 59), utc(2026, 3, 28, 7)),
        (utc(2026, 3, 28, 7), utc(2026, 3, 29, 6)),  # the clocks went on in between
        (utc(2026, 10, 24, 12), utc(2026, 10, 25, 7)),
    ],
)
def test_a_daily_mail_goes_at_the_same_hour_of_the_wall(made_at, goes):
    wishes = Wishes("Europe/London", daily=True, daily_hour=7)
    assert goes_at(wishes, Move.SUBMIT_PLAN, made_at) == goes


def test_a_daily_hour_inside_the_quiet_ones_waits_for_their_end():
    wishes = Wishes("UTC", daily=True, daily_hour=5, **NIGHT)
    assert goes_at(wishes, Move.SUBMIT_PLAN, utc(2026, 5, 1, 12)) == utc(2026, 5, 2, 7)


def test_a_red_flag_waits_for_nothing():
    wishes = Wishes("UTC", daily=True, **NIGHT)
    at_night = utc(2026, 5, 1, 23)
    assert goes_at(wishes, Move.RAISE_FLAG, at_night) == at_night
    assert goes_at(wishes, Move.ANSWER_FLAG, at_night) > at_night


@pytest.mark.parametrize("role", Role)
def test_who_must_act_on_a_red_flag_cannot_be_without_its_mail(role):
    wishes = Wishes("UTC", without=frozenset(Topic))
    got = is_wanted(wishes, Move.RAISE_FLAG, {role})
    assert got == (role in {Role.VET, Role.FARRIER})
    assert not is_wanted(wishes, Move.SUBMIT_PLAN, {role})
    assert not is_wanted(Wishes("UTC"), MAIL_LOST, {role})


def test_every_move_has_its_topic_and_its_words():
    topics = {move: topic_of(move) for move in Move}
    assert set(topics.values()) == set(Topic)
    said = {move for move in Move if mail_says(move) == ADDED}
    assert said == {move for move, topic in topics.items() if topic is Topic.RECORD}
    assert not set(SAYS) & said


def test_a_rule_changed_after_consent_is_of_the_plan_and_its_mail_names_its_code_alone():
    assert topic_of(RULE_CHANGED) is Topic.PLAN
    assert "since consent" in mail_says(RULE_CHANGED)
    facts = {"rule": "R22", "title": "Weeks", "plan_n": 2, "answers": [["LF", *ANSWERS]]}
    said = mail_says(RULE_CHANGED, facts)
    assert said.startswith("rule R22 has changed since consent")
    assert not any(word in said for word in ("Weeks", "LF", "outside", "plan 2"))


ANSWERS = (["WITHIN", "caution"], ["OUTSIDE", "breach"])


def test_the_inbox_says_which_rule_answers_which_plan_otherwise_and_how():
    rows = [["LF", *ANSWERS], ["RF", ["not asked", "note"], ["TOO_CLOSE", "red_flag"]]]
    facts = {"rule": "R22", "title": "Weeks", "plan_n": 2, "answers": rows}
    assert rule_says(facts) == (
        "R22, Weeks, on plan 2: LF within when it was judged, outside (breach) now; "
        "RF not asked when it was judged, too close to call (red flag) now."
    )
