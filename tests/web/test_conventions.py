"""The definition a reading was taken by stays with it, whatever the registry says later."""

import json
from dataclasses import replace

import pytest
from sqlalchemy import select, update

from referral.cases.models import Case
from referral.core.measure.readings import Convention
from referral.core.measure.registry import MEASURES
from referral.films.conventions import NOT_KEPT, convention_from, convention_record, convention_says
from referral.films.models import ReadingRow
from referral.films.queries import reading_sets
from referral.plans.models import JudgementRow
from referral.plans.rows import reading_rows
from tests.features.sheets.sample import sample
from tests.web.yard import a_yard, words_of

PALMAR = "palmar_angle_deg"
EARLIER = {
    "sign": "+ tip higher than the processes",
    "sentence": "Best line of the lower edge, against the block.",
    "needs": ["p3_tip", "p3_palmar_process"],
    "source": "an earlier registry",
}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def kept_in(yard):
    with yard.database.reading() as session:
        row = session.scalars(select(ReadingRow).where(ReadingRow.code == PALMAR)).one()
        return row.convention


def test_every_reading_has_a_definition_and_a_source():
    for measure in MEASURES.values():
        convention = measure.convention
        assert convention.sentence
        assert convention.source
        assert convention.needs
        assert convention_from(convention_record(convention)) == convention


def test_a_measured_and_a_typed_reading_keep_the_definition_of_their_day(yard):
    yard.readings()
    assert convention_from(kept_in(yard)) == MEASURES[PALMAR].convention
    assert kept_in(yard)["sign"] == "+ processes higher than the tip"


def test_what_was_kept_is_shown_and_not_what_the_registry_says_today(yard):
    yard.readings()
    with yard.database.transaction() as session:
        session.execute(
            update(ReadingRow).where(ReadingRow.code == PALMAR).values(convention=EARLIER)
        )
    page = words_of(yard.open("owner"))
    assert (
        "Palmar angle Best line of the lower edge, against the block. "
        "Sign: + tip higher than the processes. Source: an earlier registry." in page
    )


def test_a_reading_from_before_says_that_its_definition_was_not_kept(yard):
    yard.readings()
    with yard.database.transaction() as session:
        session.execute(update(ReadingRow).values(convention=None))
    assert NOT_KEPT in words_of(yard.open("owner"))
    assert convention_says(None) == NOT_KEPT
    assert convention_says(Convention("", "Heel wall.", ("heel",), "own")) == (
        "Heel wall. Source: own."
    )


def test_a_film_page_explains_its_readings(yard):
    film = yard.film()
    yard.measure(film)
    page = words_of(yard.open("vet", film))
    assert (
        "Palmar angle Line from the tip to the mean of the palmar processes, against the ground."
        in page
    )


def test_a_plan_keeps_the_definitions_it_was_foretold_by(yard):
    yard.refer()
    yard.submit()
    with yard.database.reading() as session:
        predictions = session.scalars(select(JudgementRow)).one().predictions
    kept = predictions["LF"]["conventions"][PALMAR]
    assert convention_from(kept) == MEASURES[PALMAR].convention
    rows = {row.code: row for row in reading_rows(predictions["LF"], None, [], [])}
    assert rows[PALMAR].convention == kept
    part = replace(sample().limbs[0], readings=(rows[PALMAR],))
    handed_over = json.loads(replace(sample(), limbs=(part,)).to_json())
    assert handed_over["limbs"][0]["readings"][0]["convention"] == kept


def test_sets_read_back_carry_it(yard):
    yard.readings()
    with yard.database.reading() as session:
        case = session.scalars(select(Case)).one()
        ((_set, measured),) = reading_sets(session, case.id)
    assert measured.readings[PALMAR].convention == MEASURES[PALMAR].convention
