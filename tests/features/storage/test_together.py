"""Several reads in one statement give what each gives by itself.

Held against SQLAlchemy's own reading of the same queries, one by one.
"""

import pytest
from sqlalchemy import inspect, select
from sqlalchemy.types import Integer

from referral.accounts.models import Person
from referral.cases.models import Case, Entry, Limit
from referral.cases.queries import case_for
from referral.desk.reads import CASE_PAGE, HISTORY_PAGE
from referral.storage.together import Together, asked_by
from tests.factories import NOW, a_case, a_cast, a_limit
from tests.features.resets.story import a_story


@pytest.fixture
def story(database, tmp_path):
    told = a_story(database, tmp_path)
    told.refer(with_film=True)
    told.submit()
    told.agree(1)
    return told


@pytest.mark.pdf
@pytest.mark.parametrize("page", [CASE_PAGE, HISTORY_PAGE], ids=["case page", "history"])
def test_a_pages_reads_give_what_each_gives_by_itself(page, story):
    with story.database.reading() as session:
        access = story.access(session, "vet")
        asked = {
            "case_id": access.case_id,
            "person_id": story.cast.farrier.id,
            "plans_after": 0,
            "resets_after": 0,
        }
        if page is HISTORY_PAGE:
            asked = {"case_id": access.case_id}
        together = page.read(session, **asked)
        found = 0
        for name, read in page.reads.items():
            alone = [values(row) for row in session.execute(read, asked)]
            if session.get_bind().dialect.name == "sqlite":
                alone = [{key: written(value) for key, value in row.items()} for row in alone]
            assert [row._asdict() for row in together[name]] == alone, name
            assert [kinds(row._asdict()) for row in together[name]] == [kinds(e) for e in alone]
            found += len(alone)
        assert found > 20


def values(row):
    """Return a row by its columns' names, and a mapped row's own columns by theirs."""
    first = row[0]
    if len(row) == 1 and hasattr(first, "__mapper__"):
        return {each.key: getattr(first, each.key) for each in inspect(type(first)).column_attrs}
    return dict(row._mapping)


def written(value):
    """Return a real number as SQLite writes it out: to fifteen digits, by its documentation."""
    return float(f"{value:.15g}") if isinstance(value, float) else value


def kinds(values):
    return {key: type(value) for key, value in values.items()}


def test_what_is_empty_or_unset_comes_back_as_such(database):
    with database.transaction() as session:
        cast = a_cast(session)
        access = case_for(session, cast.vet.id, a_case(session, cast))
        a_limit(session, access)
    case = asked_by("case_id")
    reads = Together(
        limits=select(Limit).where(Limit.case_id == case),
        nobody=select(Person.name).where(Person.id == case),
        later=select(Entry.seq).where(
            Entry.case_id == case, Entry.seq > asked_by("after", Integer())
        ),
        opened=select(Case.opened_at).where(Case.id == case),
    )
    with database.reading() as session:
        read = reads.read(session, case_id=access.case_id, after=10**6)
        assert (list(read["nobody"]), list(read["later"])) == ([], [])
        limit = read["limits"][0]
        assert (limit.at_most, limit.withdrawn, limit.replaces_id) == (None, False, None)
        assert read["opened"][0].opened_at == NOW
