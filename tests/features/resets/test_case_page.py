"""What a case's page asks of the database does not grow with the case."""

import pytest
from sqlalchemy import event

from referral.desk.queries import case_page
from tests.features.resets.story import a_story


@pytest.fixture
def story(database, tmp_path):
    told = a_story(database, tmp_path)
    told.refer(with_film=True)
    return told


def statements(story):
    """Return everything that the page asks, in the vet's eyes."""
    asked = []

    def keep(_connection, _cursor, said, *_rest):
        asked.append(said)

    with story.database.reading() as session:
        event.listen(story.database.engine, "before_cursor_execute", keep)
        access = story.access(session, "vet")
        case_page(session, access, story.now)
        event.remove(story.database.engine, "before_cursor_execute", keep)
    return [each for each in asked if each != "BEGIN"]


@pytest.mark.pdf
def test_a_reset_more_is_no_statement_more(story):
    story.submit()
    story.agree(1)
    story.fit(1)
    story.countersign(1)
    once = statements(story)
    story.move(days=30)
    story.submit()
    story.agree(2)
    story.fit(2)
    story.countersign(2)
    # the case as one may see it with its history, and everything that the page shows
    assert len(statements(story)) == len(once) == 2
