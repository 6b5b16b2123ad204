"""Horses, opening a case, and the case list, through their pages."""

import re

import pytest

from tests.web.yard import a_yard, words_of

BRAMBLE = {
    "name": "Bramble",
    "animal": "adult_horse",
    "owner_name": "Ann Vale",
    "owner_email": "ann@example.org",
}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def form_of(page):
    key = re.search(r'name="idempotency_key" value="([^"]+)"', page.text)
    return {"idempotency_key": key[1]}


def recorded(yard, who="vet", **changed):
    browser = yard.browser(who)
    hidden = form_of(browser.get("/horses/new"))
    return browser.post("/horses", {**hidden, **BRAMBLE, **changed})


def test_a_vet_records_a_horse_and_opens_a_case_on_it(yard):
    answer = recorded(yard, chip="826 0980 0000 1234", born_year="2014", weight_kg="540,5")
    assert answer.status_code == 303
    page = words_of(yard.browser("vet").get(answer.location))
    for said in ("Bramble", "826 0980 0000 1234", "Ann Vale", "540.5 kg", "Horse, adult"):
        assert said in page
    horse = answer.location.rsplit("/", 1)[1]
    form = yard.browser("vet").get(f"/cases/new?horse={horse}")
    assert f'<option value="{horse}" selected>Bramble' in form.text
    sent = {"horse_id": horse, "farrier_id": str(yard.cast.farrier.id), "jurisdiction": "GB"}
    hidden = form_of(form)
    opened = yard.browser("vet").post("/cases", {**hidden, **sent})
    twice = yard.browser("vet").post("/cases", {**hidden, **sent})
    assert (opened.status_code, opened.location) == (303, twice.location)
    assert yard.rows()["case"] == 2
    assert "Bramble" in words_of(yard.browser("farrier").get("/"))
    assert "Bramble" in words_of(yard.browser("vet").get("/horses"))


def test_the_same_horse_sent_twice_is_one_horse(yard):
    browser = yard.browser("vet")
    sent = {**form_of(browser.get("/horses/new")), **BRAMBLE}
    before = yard.rows()["horse"]
    assert browser.post("/horses", sent).location == browser.post("/horses", sent).location
    assert yard.rows()["horse"] == before + 1
    other = browser.post("/horses", {**sent, "name": "Thistle"})
    assert other.status_code == 409
    assert 'value="Thistle"' in other.text


# ISO 11784: 15 digits, country or maker first, then a 38-bit number; 999 marks a test chip.
@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("chip", "12345", "has 15 digits; this one has 5"),
        ("chip", "826098A00001234", "digits only"),
        ("chip", "826999999999999", "at most 274877906943"),
        ("chip", "000098000001234", "no country"),
        ("chip", "999000000001234", "test chip"),
        ("ueln", "826098", "15 signs"),
        ("born_year", "1066", "1970"),
        ("born_year", "soon", "integer"),
        ("weight_kg", "5000", "Between 20 and 1500 kg."),
        ("owner_email", "ann", "email"),
        ("name", "", "Please fill this in."),
        ("name", "x\0y", "cannot be kept"),
        ("animal", "unicorn", "Must be one of"),
    ],
)
def test_a_horse_that_cannot_be_is_refused_with_what_was_typed(yard, field, typed, said):
    before = yard.rows()
    answer = recorded(yard, **{"breed": "Welsh cob", field: typed})
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert 'value="Welsh cob"' in answer.text
    assert yard.rows() == before


def test_a_chip_is_one_horses(yard):
    assert recorded(yard, chip="826098000001234").status_code == 303
    answer = recorded(yard, name="Thistle", chip="826 0980 0000 1234")
    assert answer.status_code == 422
    assert "You have recorded a horse with this chip already." in words_of(answer)


def test_a_case_needs_a_horse_and_a_farrier_of_this_house(yard):
    vet = yard.browser("vet")
    stranger = yard.browser("other_vet")
    horse = recorded(yard).location.rsplit("/", 1)[1]
    assert stranger.get(f"/horses/{horse}").status_code == 404
    before = yard.rows()
    good = {"horse_id": horse, "farrier_id": str(yard.cast.farrier.id), "jurisdiction": "GB"}
    for field, bad in (
        ("horse_id", str(yard.cast.vet.id)),
        ("horse_id", "x"),
        ("farrier_id", str(yard.cast.vet.id)),
        ("jurisdiction", "Atlantis"),
    ):
        answer = vet.post("/cases", {**good, field: bad})
        assert answer.status_code == 422
        assert f'id="{field}-fault"' in answer.text
    assert stranger.post("/cases", good).status_code == 422
    assert yard.browser("farrier").post("/cases", good).status_code == 403
    assert yard.browser("owner").get("/horses/new").status_code == 403
    assert yard.rows() == before


def test_the_desk_says_whose_turn_it_is_and_what_is_new(yard):
    assert "Waiting on you 1" in words_of(yard.browser("vet").get("/"))
    yard.refer()
    vet, farrier = yard.browser("vet"), yard.browser("farrier")
    assert "Nothing waits on you." in words_of(vet.get("/"))
    page = words_of(farrier.get("/"))
    assert "Waiting on you 1 Marrow Write the plan" in page
    assert "1 new" in page
    yard.open("farrier")
    assert "1 new" not in words_of(farrier.get("/"))


def test_a_red_flag_stands_first_on_everybodys_desk(yard):
    yard.done("owner", "/red-flags/new", "/red-flags", {"sign": "not_bearing_weight"})
    for who in ("vet", "farrier", "coordinator"):
        assert "Red flag" in words_of(yard.browser(who).get("/"))
    assert "Answer the red flag" in words_of(yard.open("vet"))
