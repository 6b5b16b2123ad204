"""A long case: its page shows the newest of everything and asks little; the rest is a page on."""

import pytest
from sqlalchemy import event

from referral.cases.service import Words
from referral.desk.reads import ENTRIES, PLANS
from referral.plans.service import send_back
from tests.web.signing import at, browser_of, story_in
from tests.web.yard import words_of

MOST = 8
"""Statements for a case's page with everything around it (the project's own bar)."""


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer(with_film=True)
    for n in range(1, PLANS + 3):
        told.submit()
        with told.database.transaction() as session:
            again = Words("Once more.", told.today)
            send_back(session, told.access(session, "vet"), n, again, told.now)
    told.submit()
    at(told, clock)
    return told


def test_the_case_page_has_the_newest_and_the_history_everything(app, story):
    vet = browser_of(app, story, "vet")
    newest, everything = (
        words_of(vet.get(f"/cases/{story.number}{path}")) for path in ("", "/history")
    )
    last = PLANS + 3
    assert f"Plan {last} " in newest
    assert "Plan 1 " not in newest
    assert f"All {last} plans" in newest
    assert all(f"Plan {n} " in everything for n in range(1, last + 1))
    assert "opened the case" not in newest
    assert "opened the case" in everything
    assert vet.get(f"/cases/{story.number}").text.count('class="entry') >= ENTRIES


def test_a_page_that_waits_for_an_answer_asks_no_more_than_it_may(app, story, database):
    vet = browser_of(app, story, "vet")
    asked = []

    def keep(_connection, _cursor, said, *_rest):
        asked.append(said)

    event.listen(database.engine, "before_cursor_execute", keep)
    assert vet.get(f"/cases/{story.number}").status_code == 200
    event.remove(database.engine, "before_cursor_execute", keep)
    assert any(each.startswith("UPDATE notice") for each in asked)  # seen, by the same request
    said = [each for each in asked if each != "BEGIN" and not each.startswith("BEGIN ")]
    assert 3 < len(said) <= MOST, said
