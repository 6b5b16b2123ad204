"""A rule that changes after consent: vet and farrier are told, each once, and the plan stands."""

from collections import Counter
from functools import cache
from types import SimpleNamespace

import pytest
from sqlalchemy import select

from referral.app import worker_of
from referral.notices.models import Notice
from referral.notices.policy import RULE_CHANGED
from referral.rules.service import TELL_OF_RULE
from referral.rules.template import OWN_RULE
from tests.web.ruling import LOOSER, STALE, STRICTER, kept, own, set_rule
from tests.web.signing import at, browser_of, story_in
from tests.web.yard import words_of

BACK = {"stance": "shipped", "reason": "Not yet"}


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    told.submit()
    at(told, clock)
    return told


def signed_in(app, story):
    """Return the story's browsers as the steps of setting a rule ask for them."""
    browsers = cache(lambda who: browser_of(app, story, who))
    return SimpleNamespace(browser=browsers)


def worker(app):
    return worker_of(app.extensions["referral"])


def told(app, story, clock, **by):
    """Let the worker do what waits after a time, and return how many notices each has."""
    story.move(**by)
    at(story, clock)
    worker(app).run_waiting()
    with story.database.reading() as session:
        people = session.scalars(select(Notice.person_id).where(Notice.kind == RULE_CHANGED)).all()
    names = {getattr(story.cast, who).id: who for who in ("vet", "farrier", "owner", "other_vet")}
    return dict(Counter(names[each] for each in people))


def test_vet_and_farrier_are_told_once_and_the_agreement_stands(app, story, clock):
    story.agree(1)
    set_rule(app, story, clock)
    assert told(app, story, clock) == {"vet": 1, "farrier": 1}
    for _again in range(3):
        assert told(app, story, clock, days=1) == {"vet": 1, "farrier": 1}
    for who in ("vet", "farrier"):
        page = words_of(browser_of(app, story, who).get("/notices"))
        assert "A rule of the vet’s practice has changed since consent" in page
        # five weeks are planned, and the practice sets cautions at 4 and at 4.5
        assert (
            "R22, Weeks to the next reset, on plan 1: "
            "LF within when it was judged, outside (caution) now." in page
        )
    vet = browser_of(app, story, "vet")
    assert STALE not in words_of(vet.get("/cases/1/plans/1"))


def test_a_change_to_come_is_told_of_on_its_day(app, story, clock):
    story.agree(1)
    at(story, clock)
    assert story.today.isoformat() == "2026-11-25"
    kept(signed_in(app, story), {**STRICTER, "since": "2026-11-27"})
    assert told(app, story, clock, days=1) == {}
    assert told(app, story, clock, days=1) == {"vet": 1, "farrier": 1}


@pytest.mark.parametrize("when", ["before consent", "after fitting"])
def test_nobody_is_told_where_the_page_asks_or_the_work_is_done(app, story, clock, when):
    if when == "after fitting":
        story.agree(1)
        story.fit(1)
    set_rule(app, story, clock)
    assert told(app, story, clock) == {}


def test_nobody_is_told_of_what_answers_the_plan_the_same(app, story, clock):
    story.agree(1)
    set_rule(app, story, clock, LOOSER)
    assert told(app, story, clock) == {}


def test_nobody_is_told_of_a_change_that_was_taken_back_before_it_was_looked_at(app, story, clock):
    story.agree(1)
    set_rule(app, story, clock)
    set_rule(app, story, clock, BACK)
    assert told(app, story, clock) == {}


def test_nobody_is_told_of_a_rule_that_the_plan_was_judged_by_already(app, story, clock):
    set_rule(app, story, clock)
    story.submit()
    story.agree(2)
    assert told(app, story, clock) == {}
    set_rule(app, story, clock, BACK)
    assert told(app, story, clock) == {"vet": 1, "farrier": 1}


def test_another_practices_change_concerns_nobody_here(app, story, clock):
    story.agree(1)
    at(story, clock)
    kept(signed_in(app, story), STRICTER, who="other_vet")
    assert told(app, story, clock) == {}


# the sole is 14 mm deep as typed; a trim of 4 mm at the toe leaves more than 8 mm, and never 20
@pytest.mark.parametrize(("least", "people"), [("8", {}), ("20", {"vet": 1, "farrier": 1})])
def test_a_rule_of_its_own_is_told_of_where_the_plan_does_not_meet_it(
    app, story, clock, least, people
):
    story.agree(1)
    at(story, clock)
    text = OWN_RULE.replace("at_least = 12", f"at_least = {least}")
    for value in ("value = 10", "value = 14", "value = 12.2"):
        beside = float(value.removeprefix("value = ")) - 12 + float(least)
        text = text.replace(value, f"value = {beside}")
    assert own(signed_in(app, story), text).status_code == 303
    assert told(app, story, clock) == people


def test_two_workers_that_do_it_at_once_tell_nobody_twice(app, story, clock):
    story.agree(1)
    worker(app).run_waiting()
    set_rule(app, story, clock)
    at(story, clock)
    slow = worker(app)
    job = slow._claim()
    while job.kind != TELL_OF_RULE:
        job = slow._claim()
    finish = slow.handlers[job.kind].prepare(job.payload)
    assert told(app, story, clock, minutes=10) == {"vet": 1, "farrier": 1}
    slow._end(job, finish, None)
    assert told(app, story, clock) == {"vet": 1, "farrier": 1}
