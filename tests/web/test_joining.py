"""Who comes onto a case: nobody's account is told, and whoever is asked decides."""

import re

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.cases.models import Entry, Invitation
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from tests.factories import a_person
from tests.web.test_horses_desk import form_of, recorded
from tests.web.yard import a_yard, hidden_in, words_of


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def opened(yard, **who):
    """Open a case on a new horse with the farrier named one way or another."""
    horse = recorded(yard).location.rsplit("/", 1)[1]
    vet = yard.browser("vet")
    hidden = form_of(vet.get("/cases/new"))
    sent = {"horse_id": horse, "jurisdiction": "GB", **who}
    return vet.post("/cases", {**hidden, **sent})


def email(yard, who):
    return yard.emails[who]


def offered(page):
    return re.findall(r'<option value="[0-9a-f-]{36}"[^>]*>([^<]+)<', page.text)


def test_only_those_one_has_shared_a_case_with_or_works_with_are_offered(yard):
    with yard.database.transaction() as session:
        a_person(session, "farrier", session.get(Organisation, yard.cast.forge_id), name="Ivo Rand")
    mine = " ".join(offered(yard.browser("vet").get("/cases/new")))
    assert yard.cast.farrier.name in mine
    assert "Ivo Rand" not in mine
    assert yard.cast.other_farrier.name not in mine
    assert yard.cast.farrier.name not in yard.browser("other_vet").get("/cases/new").text
    theirs = " ".join(offered(yard.open("farrier", "/members/new")))
    assert "Ivo Rand" in theirs
    assert yard.cast.other_farrier.name not in theirs


def test_an_address_given_as_an_owners_does_not_make_somebody_known(yard):
    address = email(yard, "other_farrier")
    horse = recorded(yard, owner_email=address).location.rsplit("/", 1)[1]
    vet = yard.browser("vet")
    sent = {"horse_id": horse, "jurisdiction": "GB", "farrier_id": str(yard.cast.farrier.id)}
    hidden = form_of(vet.get("/cases/new"))
    assert vet.post("/cases", {**hidden, **sent}).status_code == 303
    assert yard.cast.other_farrier.name not in " ".join(offered(vet.get("/cases/new")))


def test_a_stranger_who_is_chosen_by_id_is_not_told_from_nobody(yard):
    cases = yard.rows()["case"]
    said = []
    for person in (yard.cast.other_farrier.id, "00000000-0000-4000-8000-000000000000"):
        answer = opened(yard, farrier_id=str(person))
        assert answer.status_code == 422
        said.append(words_of(answer))
    assert "no such person among those you know" in said[0]
    assert said[0] == said[1].replace("Bramble Bramble", "Bramble")
    assert yard.rows()["case"] == cases


def masked(page, address):
    """Return what a page says but for the address, the numbers and the days."""
    return re.sub(r"\d+", "0", words_of(page).replace(address, "ADDRESS"))


def test_an_address_gets_the_same_answer_whether_or_not_somebody_is_known_by_it(yard):
    pages = []
    for address in (email(yard, "other_farrier"), "nobody.here@example.org"):
        answer = opened(yard, farrier_email=address)
        assert answer.status_code == 303
        pages.append(masked(yard.browser("vet").get(answer.location), address))
    assert pages[0] == pages[1]
    assert yard.cast.other_farrier.name not in pages[0]


def test_whoever_is_asked_sees_nothing_until_they_accept_and_the_case_after(yard):
    home = opened(yard, farrier_email=email(yard, "other_farrier").upper()).location
    asked = yard.browser("other_farrier")
    assert asked.get(home).status_code == 404
    desk = asked.get("/")
    assert "You are asked" in words_of(desk)
    assert "Bramble" not in words_of(desk)
    path = re.search(r'action="(/invitations/[^"]+)"', desk.text)[1]
    assert yard.browser("farrier").post(path, {"answer": "accept"}).status_code == 404
    assert yard.browser("other_vet").post(path, {"answer": "accept"}).status_code == 404
    assert asked.post(path, {"answer": "perhaps"}).status_code == 404
    sent = {**hidden_in(desk, path), "answer": "accept"}
    assert asked.post(path, sent).location == home
    assert asked.post(path, sent).location == home
    assert "Bramble" in words_of(asked.get(home))
    assert "You are asked" not in words_of(asked.get("/"))
    assert "came onto the case" in words_of(yard.browser("vet").get("/notices"))
    with yard.database.reading() as session:
        case = case_for(session, yard.cast.vet.id, int(home.rsplit("/", 1)[1]))
        assert list(chain_faults(session, case.case_id)) == []
        kinds = session.scalars(select(Entry.kind).where(Entry.case_id == case.case_id)).all()
    assert kinds.count("member_joined") == 1


def test_what_was_declined_or_taken_back_lets_nobody_in(yard):
    yard.done("vet", "/members/new", "/members", {"role": "vet", "email": email(yard, "other_vet")})
    again = {"role": "vet", "email": email(yard, "other_vet")}
    assert yard.send("vet", "/members/new", "/members", again).status_code == 422
    asked = yard.browser("other_vet")
    desk = asked.get("/")
    path = re.search(r'action="(/invitations/[^"]+)"', desk.text)[1]
    home = yard.open("vet")
    back = re.search(r'action="(/cases/1/invitations/[^"]+)"', home.text)[1]
    hidden = hidden_in(home, back)
    assert yard.browser("vet").post(back, hidden).status_code == 303
    assert asked.post(path, {"answer": "accept"}).status_code == 404
    assert yard.browser("vet").post(back, {}).status_code == 404
    yard.done("vet", "/members/new", "/members", again)
    desk = asked.get("/")
    path = re.search(r'action="(/invitations/[^"]+)"', desk.text)[1]
    assert asked.post(path, {**hidden_in(desk, path), "answer": "decline"}).location == "/"
    assert yard.open("other_vet").status_code == 404
    assert again["email"] not in yard.open("vet").text.partition('id="timeline"')[0]


def test_only_who_is_that_can_be_asked_as_that(yard):
    ask = {"role": "vet", "email": email(yard, "other_farrier")}
    yard.done("vet", "/members/new", "/members", ask)
    assert "You are asked" not in words_of(yard.browser("other_farrier").get("/"))


def test_somebody_known_is_on_the_case_at_once_and_is_told(yard, database):
    with database.transaction() as session:
        forge = session.get(Organisation, yard.cast.forge_id)
        ivo = a_person(session, "farrier", forge, name="Ivo Rand")
        yard.emails["ivo"] = ivo.email
        ivo_id = str(ivo.id)
    yard.done("farrier", "/members/new", "/members", {"role": "farrier", "person_id": ivo_id})
    assert yard.open("ivo").status_code == 200
    assert "brought a farrier onto the case" in words_of(yard.open("ivo"))
    twice = {"role": "farrier", "person_id": ivo_id}
    assert "is on it already" in words_of(yard.send("farrier", "/members/new", "/members", twice))
    with database.reading() as session:
        assert session.scalars(select(Invitation)).all() == []


@pytest.mark.parametrize(
    ("typed", "field"),
    [({}, "person_id"), ({"email": "not an address"}, "email"), ({"role": "owner"}, "role"),
     ({"email": "a@example.org", "person_id": "00000000-0000-4000-8000-000000000000"}, "email")],
)  # fmt: skip
def test_who_is_meant_has_to_be_said_once(yard, typed, field):
    before = yard.rows()
    answer = yard.send("vet", "/members/new", "/members", {"role": "farrier", **typed})
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert yard.rows() == before
