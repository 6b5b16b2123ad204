"""An agreement is bound to the other foot's readings, since left and right are compared."""

import pytest

from referral.core.workflow import Stage
from referral.errors import OutOfDate, WrongState
from referral.plans.queries import is_stale, plan_of
from referral.plans.service import judge_again
from tests.factories import READINGS, typed_readings
from tests.features.resets.story import RULEBOOK, Story, a_story

PAIR = "R32"
"""The rule on the toe angles of left and right."""
LOWER = READINGS["dorsal_wall_angle_deg"] - 6.0


@pytest.fixture
def story(database, tmp_path) -> Story:
    told = a_story(database, tmp_path)
    told.refer()
    read_right(told)
    told.submit()
    return told


def read_right(story, limb="RF", **changed):
    story.move(minutes=5)
    with story.database.transaction() as session:
        typed_readings(session, story.access(session, "vet"), story.now, limb=limb, **changed)


def standing(story):
    """Return the stage, whether plan 1 must be judged again, and what the pair's rule says."""
    with story.database.reading() as session:
        access = story.access(session, "vet")
        view = plan_of(session, access.case_id, 1)
        said = next(each.verdict for each in view.findings if each.rule == PAIR)
        return access.state.stage, is_stale(session, access, view, RULEBOOK, story.today), said


def judged_again(story):
    story.move(minutes=5)
    with story.database.transaction() as session:
        judge_again(session, story.access(session, "vet"), 1, RULEBOOK, story.today, story.now)


def test_before_agreement_the_vet_agrees_to_nothing_that_compares_with_readings_of_before(story):
    assert standing(story)[:2] == (Stage.REVIEW, False)
    before = standing(story)[2]
    seen = story.agreement(1)
    read_right(story, dorsal_wall_angle_deg=LOWER)
    assert standing(story) == (Stage.REVIEW, True, before)
    with pytest.raises(OutOfDate):
        story.propose_agreement(seen)
    judged_again(story)
    assert standing(story) == (Stage.REVIEW, False, "OUTSIDE")
    assert before != "OUTSIDE"


@pytest.mark.parametrize("signed", ["the vet", "both", "and consented to"])
def test_after_agreement_it_goes_back_to_the_vet_and_is_judged_again(story, signed):
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    if signed != "the vet":
        story.sign_plan()
    if signed == "and consented to":
        story.consent(1)
    _stage, moved, before = standing(story)
    assert not moved
    seen = story.agreement(1)
    read_right(story, dorsal_wall_angle_deg=LOWER)
    assert standing(story) == (Stage.REVIEW, True, before)
    with pytest.raises(OutOfDate):
        story.propose_agreement(seen)
    with pytest.raises(WrongState):
        story.propose_reset(story.fitted(1))
    judged_again(story)
    assert standing(story) == (Stage.REVIEW, False, "OUTSIDE")
    story.agree(1)
    assert standing(story) == (Stage.FITTING, False, "OUTSIDE")


def test_it_goes_on_where_it_was_once_the_readings_are_what_they_were(story):
    story.agree(1)
    before = standing(story)
    assert before[:2] == (Stage.FITTING, False)
    for angle, moved in ((LOWER, True), (READINGS["dorsal_wall_angle_deg"], False)):
        read_right(story, dorsal_wall_angle_deg=angle)
        assert standing(story)[1] is moved
    assert standing(story) == before


def test_a_foot_that_is_read_for_the_first_time_asks_too(database, tmp_path):
    story = a_story(database, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    read_right(story)
    assert standing(story) == (Stage.REVIEW, True, "NOT_APPLICABLE")


def test_a_hind_foot_is_not_compared_with_a_fore_foot(story):
    read_right(story, limb="RH", dorsal_wall_angle_deg=LOWER)
    assert standing(story)[1] is False
