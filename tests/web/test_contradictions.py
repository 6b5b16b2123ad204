"""A vet sees which limits contradict each other before the referral goes out."""

from dataclasses import replace

import pytest

from referral.cases import views
from tests.web.yard import a_yard, hidden_in, words_of

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


@pytest.fixture
def searches(yard, app):
    """Return, of each search that is made, which limbs it was for and whether anything waits."""
    wired = app.extensions["referral"]
    made = []

    def search(session, access, limbs, on):
        holds_others_up = session.get_bind().get_execution_options().get("writes", False)
        made.append((*limbs, holds_others_up))
        return wired.contradictions(session, access, limbs, on)

    app.extensions["referral"] = replace(wired, contradictions=search)
    return made


def test_the_search_keeps_nobody_else_from_writing(yard, searches):
    contradict(yard)
    yard.readings(limb="RF")
    searches.clear()
    assert send(yard, contradiction_reason="First the angle, the wall next time").status_code == 303
    # once for the form, of every foot that was read, and once for what is sent
    assert searches == [("LF", "RF", False), ("LF", False)]
    assert "limits contradict each other" in words_of(yard.open("farrier"))


def test_a_limit_that_is_set_after_the_search_is_searched_for_again(yard, monkeypatch):
    form = yard.open("vet", "/referrals/new")
    fields = {**hidden_in(form, f"{yard.home}/referrals"), **GOALS}
    fields.pop("revision")  # which would be refused as out of date before anything else
    search = views.search_before

    def and_then_a_limit(*asked):
        before = search(*asked)
        assert before.found == ()
        contradict(yard)
        return before

    monkeypatch.setattr(views, "search_before", and_then_a_limit)
    refused = yard.browser("vet").post(f"{yard.home}/referrals", fields)
    assert refused.status_code == 422
    assert 'id="contradiction_reason-fault"' in refused.text


def test_a_limit_is_set_before_it_is_asked_what_it_contradicts(yard, searches):
    contradict(yard)
    assert searches == [("LF", False)]
