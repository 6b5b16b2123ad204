"""After two resets the horse's own feet say how they change; before, the shipped figures do."""

import json

import pytest

from referral.films.phantom import Foot
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
