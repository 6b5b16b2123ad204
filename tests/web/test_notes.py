"""Notes through their pages: calls the other side confirms, medication, emergencies, checks."""

import pytest

from referral.cases.note_kinds import NOTES
from tests.factories import NOW
from tests.web.yard import TODAY, a_yard, words_of

NOTE = {
    "calls": ("farrier", {"with_whom": "vet", "words": "Leave the toe; film again on Friday."}),
    "medication": ("vet", {"medication": "anti_inflammatory", "words": "Two days, by mouth."}),
    "emergencies": ("farrier", {"limb": "LF", "found": "A nail in the frog", "rung": "The vet"}),
    "after-checks": ("owner", {"comfort": "tender", "shoe": "sound"}),
    "lameness": ("vet", {"limb": "LF", "scale": "aaep", "grade": "2", "gait": "trot_straight"}),
    "support-limb-checks": ("owner", {"limb": "RF", "found": "quiet"}),
    "step-downs": ("vet", {"limb": "LF", "device": "wedge", "words": "From 3 to 2 degrees"}),
    "renewals": ("farrier", {"limb": "LF", "device": "bar", "words": "Heels still crushed"}),
}
SAYS = {
    "calls": "noted a call with the vet",
    "medication": "noted medication: anti-inflammatory, pain relief",
    "emergencies": "recorded emergency work on LF",
    "after-checks": "checked after fitting: tender, short in front or behind; shoe: firm and",
    "lameness": "graded the lameness of LF: 2 on the scale 0 to 5 (AAEP), trot in hand, straight",
    "support-limb-checks": "looked at RF as the support limb: cool, normal pulse, loaded as before",
    "step-downs": "stepped the wedge down on LF",
    "renewals": "keeps the bar shoe on LF, with a reason",
}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def keep(yard, kind, who="", **changed):
    by, said = NOTE[kind]
    return yard.send(
        who or by, f"/notes/{kind}/new", f"/notes/{kind}", {**said, "happened_on": TODAY, **changed}
    )


@pytest.mark.parametrize("kind", NOTES)
def test_a_note_stands_in_the_timeline_for_everybody_on_the_case(yard, kind):
    assert keep(yard, kind).status_code == 303
    page = words_of(yard.open("owner"))
    assert SAYS[kind].lower() in page.lower()
    for each in NOTES[kind].asked:
        words = NOTE[kind][1].get(each.name)
        assert not (each.is_words and words) or words in page


@pytest.mark.parametrize("kind", NOTES)
def test_what_is_left_out_or_unknown_is_said_beside_its_field(yard, kind):
    before = yard.rows()
    first = NOTES[kind].asked[0]
    for wrong in ("", "nothing we know"):
        answer = keep(yard, kind, **{first.name: wrong})
        assert answer.status_code == 422
        assert f'id="{first.name}-fault"' in answer.text
    assert yard.rows() == before


def test_who_keeps_which_note(yard):
    before = yard.rows()
    assert yard.open("farrier", "/notes/medication/new").status_code == 403
    assert yard.open("owner", "/notes/emergencies/new").status_code == 403
    assert yard.open("other_vet", "/notes/calls/new").status_code == 404
    assert yard.open("vet", "/notes/gossip/new").status_code == 404
    assert yard.rows() == before


def test_the_other_side_confirms_a_call_and_only_once(yard):
    keep(yard, "calls")
    page = yard.open("vet")
    assert "Not confirmed" in words_of(page)
    path = page.text.partition("/calls/")[2].partition('"')[0]
    confirm = f"{yard.home}/calls/{path}"
    assert "/confirmations" not in yard.open("farrier").text
    assert yard.browser("farrier").post(confirm, {}).status_code == 403
    assert yard.browser("owner").post(confirm, {}).status_code == 403
    assert yard.browser("vet").post(confirm, {}).status_code == 303
    said = words_of(yard.open("owner"))
    assert "Confirmed by Vet" in said
    assert "confirmed a call note" in said
    before = yard.rows()
    assert yard.browser("vet").post(confirm, {}).status_code == 422
    assert yard.rows() == before


def test_a_call_is_confirmed_by_whoever_it_was_with(yard):
    """Common practice, no source: who was not on the telephone cannot say what was agreed."""
    keep(yard, "calls", with_whom="owner")
    confirm = (
        yard.home + "/calls/" + yard.open("owner").text.partition("/calls/")[2].partition('"')[0]
    )
    for bystander in ("vet", "farrier"):
        assert "/confirmations" not in yard.open(bystander).text
        assert yard.browser(bystander).post(confirm, {}).status_code == 403
    assert yard.browser("owner").post(confirm, {}).status_code == 303
    assert "Confirmed by" in words_of(yard.open("vet"))


def test_a_call_with_somebody_who_is_not_on_the_case_is_nobodys_to_confirm(yard):
    keep(yard, "calls", with_whom="other")
    for who in ("vet", "farrier", "owner"):
        assert "/confirmations" not in yard.open(who).text


def test_nobody_notes_a_call_with_themselves(yard):
    before = yard.rows()
    answer = keep(yard, "calls", with_whom="farrier")
    assert answer.status_code == 422
    assert "You are the farrier here" in words_of(answer)
    assert NOTE["calls"][1]["words"] in answer.text
    assert yard.rows() == before


def test_the_vet_is_led_on_from_emergency_work(yard):
    """Common practice, no source: whose turn it is, is also told what to do."""
    lead = "Say what follows from the emergency work"
    keep(yard, "emergencies")
    assert lead in words_of(yard.open("vet"))
    assert lead not in words_of(yard.open("farrier"))
    said = {"about": "worry", "words": "Nail out, poultice on, seen again on Friday."}
    yard.send("vet", "/observations/new", "/observations", {**said, "happened_on": TODAY})
    assert lead not in words_of(yard.open("vet"))


def test_medication_does_not_wear_off_before_it_is_given(yard):
    before = yard.rows()
    answer = keep(yard, "medication", wears_off_on="2026-11-01")
    assert answer.status_code == 422
    assert "before it was given" in words_of(answer)
    assert yard.rows() == before
    assert keep(yard, "medication", wears_off_on=TODAY).status_code == 303


def test_medication_that_may_hide_pain_is_shown_where_the_visit_is_recorded(yard, clock):
    yard.refer()
    yard.submit()
    keep(yard, "medication", wears_off_on="2026-12-01")
    shown = words_of(yard.open("farrier", "/resets/new"))
    assert "Medication: comfort cannot be judged" in shown
    assert "Two days, by mouth." in shown
    clock.now = NOW.replace(month=12, day=2)
    yard.browsers.clear()
    assert "Medication: comfort" not in words_of(yard.open("farrier", "/resets/new"))


def test_emergency_work_puts_the_case_before_the_vet(yard):
    yard.refer()
    keep(yard, "emergencies")
    assert "See the emergency work" in words_of(yard.open("vet"))


def test_a_note_of_a_day_that_has_not_come_is_refused_and_words_are_not_lost(yard):
    answer = keep(yard, "calls", happened_on="2031-01-01")
    assert answer.status_code == 422
    assert "This day has not come yet." in words_of(answer)
    assert "film again on Friday" in answer.text
