"""After two resets the horse's own feet say how they change; before, the shipped figures do."""

import json

import pytest
from sqlalchemy import select

from referral.core.predict.growth import OwnRates
from referral.films.models import ReadingRow, ReadingSet
from referral.films.phantom import Foot
from referral.plans.models import JudgementRow
from referral.plans.own_growth import own_rates_of
from tests.features.resets.story import a_story

WEEKS = 5


@pytest.fixture
def story(database, tmp_path):
    story = a_story(database, tmp_path)
    story.refer(with_film=True)
    return story


def a_cycle(story, n, *, comes_back):
    """Agree and fit plan n, countersign it, and film the foot that comes back."""
    story.submit()
    story.agree(n)
    story.fit(n)
    story.countersign(n)
    fitted = predicted(story, n)
    story.move(weeks=WEEKS)
    back = Foot(
        palmar_angle_deg=fitted["palmar_angle_deg"] + comes_back,
        toe_distance_mm=fitted["toe_distance_mm"] + 6.0,
    )
    story.film(back)


def predicted(story, n):
    from referral.resets.queries import reset_of

    with story.database.reading() as session:
        access = story.access(session, "vet")
        record = reset_of(session, access.case_id, n).judgement.predictions["LF"]
    return {code: each["value"] for code, each in record["after_fit"]["readings"].items()}


def rates(story):
    with story.database.reading() as session:
        return own_rates_of(session, story.access(session, "vet").case_id, "LF")


def test_two_resets_say_how_fast_this_foot_changes(story):
    a_cycle(story, 1, comes_back=-1.0)
    assert rates(story).palmar_angle_drift_deg is None
    a_cycle(story, 2, comes_back=-1.5)
    wedge_deg = story.plan.get("wedge_deg", 0.0)  # the film is of the bare foot: it is put back
    drift = rates(story).palmar_angle_drift_deg
    assert drift.evidence == "own resets"
    assert drift.source == "2 shoeing cycles of this foot"
    assert drift.per_week == pytest.approx((-1.25 + wedge_deg) / WEEKS, abs=0.06)
    plan = story.submit()
    said = json.loads(plan.judgement.basis)["inputs"]["own_rates"]["LF"]
    assert said["palmar_angle_drift_deg"]["per_week"] == pytest.approx(drift.per_week)
    record = plan.judgement.predictions["LF"]
    after = record["after_fit"]["readings"]["palmar_angle_deg"]["value"]
    due = record["at_due"]["readings"]["palmar_angle_deg"]["value"]
    assert due - after == pytest.approx(drift.per_week * record["weeks"], abs=0.01)


def test_a_film_of_another_definition_than_was_fitted_by_is_not_joined(story):
    a_cycle(story, 1, comes_back=-1.0)
    a_cycle(story, 2, comes_back=-1.5)
    assert rates(story).palmar_angle_drift_deg is not None
    with story.database.transaction() as session:
        last = session.scalars(select(ReadingSet.id).order_by(ReadingSet.recorded_at)).all()[-1]
        for row in session.scalars(select(ReadingRow).where(ReadingRow.reading_set_id == last)):
            row.convention = {**row.convention, "source": "another book"}
    assert rates(story).palmar_angle_drift_deg.source == "1 shoeing cycle of this foot"


def test_of_fittings_whose_definition_was_not_kept_nothing_is_joined_with_what_was(story):
    a_cycle(story, 1, comes_back=-1.0)
    a_cycle(story, 2, comes_back=-1.5)
    with story.database.transaction() as session:
        for row in session.scalars(select(JudgementRow)):
            limb = {**row.predictions["LF"]}
            limb.pop("conventions")
            row.predictions = {**row.predictions, "LF": limb}
    assert rates(story) == OwnRates()
