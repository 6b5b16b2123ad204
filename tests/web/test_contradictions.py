"""A vet sees which limits contradict each other before the referral goes out."""

import pytest

from tests.web.yard import a_yard, words_of

GOALS = {"limbs": "LF", "urgency": "routine", "goals": "Palmar angle up to 3 by spring"}
NOTICE = "No plan can meet these limits together"


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    problem = {"limb": "LF", "condition": "under_run_heels", "certainty": "confirmed"}
    yard.done("vet", "/problems/new", "/problems", problem)
    yard.readings()
    yard.limit(measure="palmar_angle_deg", at_least="8")
    yard.limit(measure="sole_depth_tip_mm", at_least="5")
    return yard


def contradict(yard):
    # both turn with the hoof: palmar angle 8 from 1.5 takes the wall from 47 to 53.5
    yard.limit(measure="dorsal_wall_angle_deg", at_most="50")


def send(yard, **changed):
    return yard.send("vet", "/referrals/new", "/referrals", {**GOALS, **changed})


def test_limits_that_can_be_met_are_sent_without_a_word(yard):
    assert NOTICE not in words_of(yard.open("vet", "/referrals/new"))
    assert "contradiction_reason" not in yard.open("vet", "/referrals/new").text
    assert send(yard).status_code == 303
    assert "contradict" not in words_of(yard.open("farrier"))


def test_the_fewest_limits_that_contradict_each_other_are_named_on_the_form(yard):
    contradict(yard)
    said = words_of(yard.open("vet", "/referrals/new"))
    told = said.partition(NOTICE)[2].partition("Without any one of them")[0]
    assert "Palmar angle at least 8° after fitting" in told
    assert "Dorsal wall angle at most 50° after fitting" in told
    assert "Sole" not in told


def test_it_is_sent_only_with_a_reason_and_nothing_typed_is_lost(yard):
    contradict(yard)
    before = yard.rows()
    refused = send(yard)
    assert refused.status_code == 422
    assert 'id="contradiction_reason-fault"' in refused.text
    assert "Palmar angle up to 3 by spring" in refused.text
    assert yard.rows() == before
    assert send(yard, contradiction_reason="First the angle, the wall next time").status_code == 303
    for who in ("vet", "farrier"):
        page = words_of(yard.open(who))
        assert "Sent although limits contradict each other" in page
        assert "First the angle, the wall next time" in page
        assert "LF: Palmar angle at least 8° after fitting" in page


def test_limits_of_a_limb_that_is_not_referred_need_no_reason(yard):
    yard.readings(limb="RF")
    yard.limit(measure="palmar_angle_deg", at_least="8", limb="RF")
    yard.limit(measure="dorsal_wall_angle_deg", at_most="50", limb="RF")
    assert NOTICE in words_of(yard.open("vet", "/referrals/new"))
    assert send(yard).status_code == 303
    assert "contradict each other" not in words_of(yard.open("farrier"))


def test_a_reason_without_a_contradiction_is_not_kept(yard):
    assert send(yard, contradiction_reason="To be safe").status_code == 303
    assert "To be safe" not in words_of(yard.open("vet"))


def test_setting_a_limit_says_at_once_what_it_contradicts(yard):
    limit = {"measure": "dorsal_wall_angle_deg", "at_most": "50", "strength": "must", "limb": "LF"}
    yard.done("vet", "/limits/new", "/limits", {"stage": "after_fit", **limit})
    said = words_of(yard.open("vet"))
    assert "LF: no plan can meet these limits together" in said
    assert "LF: no plan can meet" not in words_of(yard.open("vet"))
