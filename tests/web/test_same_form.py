"""A form that is sent again, at once or after a new start of the browser, is done once."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from sqlalchemy import select

from referral.cases.models import Entry, Observation
from tests.web.yard import TODAY, a_yard

KEY = "6d1f8a52-3b0c-4a9e-9d57-0c1be3f2a777"
SEEN = {"limb": "LF", "about": "wear", "words": "Toe worn to 9 mm.", "happened_on": TODAY}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def a_browser(yard, who):
    """Return a browser of somebody's that has just been started and signed in."""
    yard.browsers.clear()
    browser = yard.browser(who)
    browser.get(f"{yard.home}/observations/new")
    return browser


def send(yard, browser, **changed):
    return browser.post(f"{yard.home}/observations", {**SEEN, "idempotency_key": KEY, **changed})


def kept(yard):
    with yard.database.reading() as session:
        said = session.scalars(select(Observation.words).order_by(Observation.id)).all()
        entries = session.scalars(select(Entry).where(Entry.kind == "observation_added")).all()
    assert len(entries) == len(said)
    return said


def test_three_at_once_and_one_after_a_new_start_are_one_record(yard):
    browsers = [a_browser(yard, "farrier") for _ in range(3)]
    start = Barrier(len(browsers))

    def post(browser):
        start.wait()
        return send(yard, browser)

    with ThreadPoolExecutor(len(browsers)) as pool:
        answers = list(pool.map(post, browsers))
    answers.append(send(yard, a_browser(yard, "farrier")))
    assert {(each.status_code, each.location) for each in answers} == {(303, answers[0].location)}
    assert kept(yard) == ["Toe worn to 9 mm."]


def test_the_same_form_with_other_words_is_refused(yard):
    assert send(yard, a_browser(yard, "farrier")).status_code == 303
    answer = send(yard, a_browser(yard, "farrier"), words="Toe worn to 10 mm.")
    assert answer.status_code == 409
    assert "Toe worn to 10 mm." in answer.text
    assert kept(yard) == ["Toe worn to 9 mm."]


def test_the_same_number_from_two_people_is_two_forms(yard):
    for who in ("farrier", "vet"):
        assert send(yard, a_browser(yard, who)).status_code == 303
    assert len(kept(yard)) == 2
