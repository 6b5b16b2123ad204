"""A farrier or an owner asks for an examination; a vet takes it up, or answers with a reason."""

import re

import pytest

from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from tests.web.test_horses_desk import form_of
from tests.web.yard import Yard, a_yard, film_form, words_of

SEEN = "Short on the left fore since Sunday, heat in the foot"


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def ask(yard, who="farrier", **changed):
    """Ask for an examination of the yard's horse through the page."""
    browser = yard.browser(who)
    form = browser.get("/examinations/new")
    horse = re.search(r'<option value="([0-9a-f-]{36})"[^>]*>Marrow', form.text)
    said = {
        "horse_id": horse[1] if horse else "",
        "vet_id": str(yard.cast.vet.id),
        "limb": "LF",
        "about": "comfort",
        "words": SEEN,
        "urgency": "7_days",
        "jurisdiction": "GB",
    }
    return browser.post("/examinations", {**form_of(form), **said, **changed})


def asked(yard, who="farrier", **changed) -> Yard:
    """Return the case that was asked for."""
    answer = ask(yard, who, **changed)
    assert answer.status_code == 303, words_of(answer)
    number = int(answer.location.rsplit("/", 1)[1])
    return Yard(yard.app, yard.database, yard.cast, number, yard.browsers, yard.emails)


@pytest.mark.parametrize("who", ["farrier", "owner"])
def test_what_is_asked_waits_on_the_vet_and_is_carried_into_the_case(yard, who):
    case = asked(yard, who)
    desk = words_of(case.browser("vet").get("/"))
    assert "Marrow Answer the request for an examination" in desk
    diary = words_of(case.browser("vet").get("/diary")).partition("Waiting on you")[2]
    assert "Answer the request for an examination" in diary
    assert "Due 2 Dec 2026" in diary
    assert SEEN in words_of(case.open("vet", "/take-ups/new"))
    case.done("vet", "/take-ups/new", "/take-ups", {"words": "Thursday, ten o'clock"})
    page = words_of(case.open("vet"))
    for said in (SEEN, "Record the problem", "took the request up"):
        assert said in page
    told = words_of(case.browser(who).get("/notices")).replace("&#39;", "'")
    assert "took the request up" in told
    form = case.open("vet", "/problems/new").text
    assert '<option value="LF" selected>' in form
    assert SEEN in form
    if who == "owner":
        with pytest.raises(AssertionError, match="Ask a farrier onto the case first"):
            case.refer_by_hand()
        farrier = {"role": "farrier", "person_id": str(case.cast.farrier.id)}
        case.done("vet", "/members/new", "/members", farrier)
    case.refer_by_hand()
    assert "Write the plan" in words_of(case.open("farrier"))


def test_the_vet_answers_with_a_reason_and_whoever_asked_reads_it(yard):
    case = asked(yard)
    refused = case.send("vet", "/answers-with-reason/new", "/answers-with-reason", {"words": " "})
    assert refused.status_code == 422
    words = {"words": "Seen on Monday: an old bruise, walk it out"}
    case.done("vet", "/answers-with-reason/new", "/answers-with-reason", words)
    page = words_of(case.open("farrier"))
    for said in ("Closed", "answered the request and closed it", "an old bruise"):
        assert said in page
    assert "answered the request" in words_of(case.browser("farrier").get("/notices"))
    late = case.send("vet", "/take-ups/new", "/take-ups", {"words": "After all"})
    assert late.status_code == 409
    case.done("vet", "/reopenings/new", "/reopenings", {"words": "Worse again"})
    assert "Record the problem" in words_of(case.open("vet"))


def test_a_photo_goes_with_it_and_only_those_who_were_named_see_it(yard):
    case = asked(yard)
    photo = film_form(view="side_photo", shod="yes")
    assert case.send("farrier", "/films/new", "/films", photo).status_code == 303
    assert "Left fore, side photo" in words_of(case.open("vet"))
    assert case.open("owner").status_code == 200
    for stranger in ("other_vet", "other_farrier", "apprentice"):
        assert case.open(stranger).status_code == 404


def test_a_vet_one_does_not_know_is_asked_by_address(yard):
    case = asked(yard, "owner", vet_id="", vet_email=yard.emails["other_vet"])
    assert case.open("other_vet").status_code == 404
    vet = case.browser("other_vet")
    desk = vet.get("/")
    path = re.search(r'action="(/invitations/[^"]+)"', desk.text)[1]
    assert vet.post(path, {"answer": "accept"}).status_code == 303
    assert SEEN in words_of(case.open("other_vet", "/take-ups/new"))
    with case.database.reading() as session:
        access = case_for(session, yard.cast.owner.id, case.number)
        assert list(chain_faults(session, access.case_id)) == []


def test_the_same_request_sent_twice_is_one_case(yard):
    form = yard.browser("owner").get("/examinations/new")
    key = form_of(form)
    first, second = (ask(yard, "owner", **key) for _ in range(2))
    assert first.location == second.location
    assert yard.rows()["case"] == 2


@pytest.mark.parametrize(
    ("who", "changed", "field"),
    [
        ("farrier", {"words": ""}, "words"),
        ("farrier", {"limb": "tail"}, "limb"),
        ("farrier", {"vet_id": ""}, "vet_id"),
        ("farrier", {"vet_email": "a@example.org"}, "vet_email"),
        ("farrier", {"horse_id": "00000000-0000-4000-8000-000000000000"}, "horse_id"),
    ],
)
def test_what_cannot_be_asked_is_said_beside_its_field_with_what_was_typed(
    yard, who, changed, field
):
    before = yard.rows()
    answer = ask(yard, who, **changed)
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert changed.get("words") == "" or SEEN in answer.text
    assert yard.rows() == before


def test_a_stranger_cannot_ask_of_a_horse_or_a_vet_they_do_not_know(yard):
    before = yard.rows()
    horse = re.search(
        r'<option value="([0-9a-f-]{36})"[^>]*>Marrow',
        yard.browser("owner").get("/examinations/new").text,
    )[1]
    form = yard.browser("other_farrier").get("/examinations/new")
    assert "Marrow" not in form.text
    assert ask(yard, "owner", vet_id=str(yard.cast.other_vet.id)).status_code == 422
    said = {"horse_id": horse, "vet_id": str(yard.cast.vet.id), "limb": "LF", "about": "comfort"}
    said |= {"words": SEEN, "urgency": "now", "jurisdiction": "GB"}
    for who in ("vet", "other_farrier"):
        answer = yard.browser(who).post("/examinations", said)
        assert answer.status_code == 422
    assert yard.rows() == before


def test_a_horses_page_shows_a_farrier_the_cases_they_are_on_and_no_other(yard):
    asked(yard, "owner", vet_id="", vet_email="somebody@example.org")
    horse = re.search(r'href="(/horses/[0-9a-f-]+)"', yard.open("farrier").text)[1]
    theirs = words_of(yard.browser("farrier").get(horse))
    assert "Marrow" in theirs
    assert "Case 1" in theirs
    assert "Case 2" not in theirs
    assert "Case 2" in words_of(yard.browser("owner").get(horse))
    assert "Open a case" not in theirs
    for stranger in ("other_vet", "other_farrier"):
        assert yard.browser(stranger).get(horse).status_code == 404
