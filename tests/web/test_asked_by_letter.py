"""The page behind the address in a letter: accept, decline, and an owner's first account."""

import re

import pytest
from sqlalchemy import select

from referral.accounts.models import Membership, Person
from referral.accounts.service import revoke_person
from referral.cases.joining import take_back
from referral.cases.links import token_for_invitation
from referral.cases.models import Invitation, InvitationEnd
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from tests.factories import PASSWORD, a_person
from tests.web.browsing import Browser
from tests.web.test_horses_desk import form_of, recorded
from tests.web.yard import a_yard, words_of

ADDRESS = "ann.vale@example.org"
NEW = {"answer": "accept", "name": "Ann Vale", "password": "a grey mare in the rain"}


@pytest.fixture
def yard(app, database):
    found = a_yard(app, database)
    with database.transaction() as session:
        dora = a_person(session, name="Dora Penn")
        found.emails["dora"] = dora.email
    return found


def asked(yard, email=ADDRESS, role="farrier"):
    """Ask an address onto the case, or as owner of another horse; return the letter's page."""
    if role == "owner":
        horse = recorded(yard, owner_name="Ann Vale", owner_email=email).location
        vet = yard.browser("vet")
        sent = {"horse_id": horse.rsplit("/", 1)[1], "jurisdiction": "GB"}
        sent |= {"farrier_id": str(yard.cast.farrier.id), **form_of(vet.get("/cases/new"))}
        vet.post("/cases", sent)
    else:
        yard.done("vet", "/members/new", "/members", {"role": role, "email": email})
    with yard.database.reading() as session:
        row = session.scalars(select(Invitation).order_by(Invitation.id.desc()).limit(1)).one()
    secret = yard.app.extensions["referral"].settings.secret_key
    return f"/asked/{token_for_invitation(secret, row.id)}"


def ends(yard):
    with yard.database.reading() as session:
        return [(each.how, each.ended_by) for each in session.scalars(select(InvitationEnd))]


def test_opening_it_says_who_asks_as_what_and_nothing_of_the_case_and_changes_nothing(yard):
    path = asked(yard)
    before = yard.rows()
    said = words_of(Browser(yard.app).get(path))
    for shown in (yard.cast.vet.name, "Hollow Lane Vets", ADDRESS, "farrier", "2 Dec 2026, 09:00"):
        assert shown in said
    for hidden in ("Marrow", "case 1", yard.cast.owner.name, yard.cast.farrier.name):
        assert hidden not in said
    assert yard.rows() == before


def test_an_owner_who_has_no_account_makes_one_and_is_on_the_case_and_signed_in(yard):
    path = asked(yard, role="owner")
    browser = Browser(yard.app)
    browser.get(path)
    answer = browser.post(path, {**NEW, "email": "other@example.org"})
    assert answer.status_code == 422  # a field that is none of the page's
    answer = browser.post(path, NEW)
    assert answer.location == "/cases/2"
    page = browser.get("/cases/2")
    assert "Ann Vale came onto the case" in words_of(page)
    assert "Bramble" in words_of(browser.get("/"))
    assert browser.get("/cases/1").status_code == 404
    assert "Ann Vale came onto the case" in words_of(yard.browser("vet").get("/cases/2"))
    again = Browser(yard.app)
    assert again.sign_in(ADDRESS, NEW["password"]).status_code == 303
    with yard.database.reading() as session:
        person = session.scalars(select(Person).where(Person.email == ADDRESS)).one()
        roles = select(Membership.role).where(Membership.person_id == person.id)
        assert session.scalars(roles).all() == ["owner"]
        assert NEW["password"] not in person.password_hash
        case = case_for(session, person.id, 2)
        assert list(chain_faults(session, case.case_id)) == []


def test_it_is_of_use_once(yard):
    path = asked(yard, role="owner")
    first, second = Browser(yard.app), Browser(yard.app)
    for browser in (first, second):
        browser.get(path)
    assert first.post(path, NEW).status_code == 303
    before = yard.rows()
    mallory = {**NEW, "name": "Mallory", "password": "a bay gelding in the sun"}
    for answer in (second.post(path, mallory), second.get(path)):
        assert answer.status_code == 404
        assert "accepted already: sign in" in words_of(answer)
    assert second.post(path, {"answer": "decline"}).status_code == 404
    assert yard.rows() == before
    assert second.get("/account").status_code == 303


@pytest.mark.parametrize("how", ["too old", "taken back"])
def test_it_is_of_no_use_once_the_invitation_is_over(yard, clock, how):
    path = asked(yard, role="owner")
    browser = Browser(yard.app)
    browser.get(path)
    if how == "too old":
        clock.move(days=7)
    else:
        with yard.database.transaction() as session:
            row = session.scalars(select(Invitation)).one().id
            vet = case_for(session, yard.cast.vet.id, 2)
            take_back(session, vet, row, clock.now.date(), clock.now)
    before = yard.rows()
    sent = (browser.post(path, each) for each in (NEW, {"answer": "decline"}))
    for answer in (browser.get(path), *sent):
        assert answer.status_code == 404
        assert "Ask whoever asked you" in words_of(answer)
    assert yard.rows() == before


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"password": "too short"}, "password", "at least 15 characters"),
        ({"password": "passwordpassword"}, "password", "among the first"),
        ({"password": ADDRESS + "1"}, "password", "your own name or email"),
        ({"name": ""}, "name", "fill this in"),
        ({"name": "   "}, "name", ""),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_the_name_is_kept(yard, changed, field, said):
    path = asked(yard, role="owner")
    before = yard.rows()
    browser = Browser(yard.app)
    browser.get(path)
    answer = browser.post(path, {**NEW, **changed})
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert said in words_of(answer)
    if field != "name":
        assert 'value="Ann Vale"' in answer.text
    assert changed.get("password", NEW["password"]) not in answer.text
    assert yard.rows() == before


@pytest.mark.parametrize("role", ["farrier", "vet", "apprentice", "coordinator"])
def test_nobody_becomes_a_vet_or_a_farrier_by_a_letter(yard, role):
    path = asked(yard, role=role)
    before = yard.rows()
    browser = Browser(yard.app)
    said = words_of(browser.get(path))
    assert f"You need an account here as {role}" in said
    assert "Choose a password" not in said
    assert browser.post(path, NEW).status_code == 404
    assert yard.rows() == before


def test_whoever_has_an_account_signs_in_and_accepts_on_the_page(yard):
    path = asked(yard, yard.emails["other_farrier"])
    browser = Browser(yard.app)
    page = browser.get(path)
    door = re.search(r'href="(/sign-in\?next=[^"]+)"', page.text)[1].replace("&amp;", "&")
    assert "Choose a password" not in page.text
    browser.get(door)
    following = re.search(r'name="next" value="([^"]+)"', browser.get(door).text)[1]
    answer = browser.post(
        "/sign-in",
        {"email": yard.emails["other_farrier"], "password": PASSWORD, "next": following},
    )
    assert answer.location == path
    assert "Accept" in words_of(browser.get(path))
    assert browser.post(path, {"answer": "accept"}).location == yard.home
    assert "Marrow" in words_of(browser.get(yard.home))
    assert ends(yard) == [("accepted", yard.cast.other_farrier.id)]


def test_a_link_does_not_let_another_account_in(yard):
    path = asked(yard, yard.emails["other_farrier"])
    other = yard.browser("other_vet")
    said = words_of(other.get(path))
    assert "You are signed in under another address" in said
    assert other.post(path, {"answer": "accept"}).status_code == 404
    assert other.post(path, NEW).status_code == 422
    assert other.get(yard.home).status_code == 404
    assert ends(yard) == []


def test_an_account_that_is_something_else_cannot_accept(yard):
    path = asked(yard, yard.emails["dora"])
    dora = yard.browser("dora")
    assert "You need an account here as farrier" in words_of(dora.get(path))
    assert dora.post(path, {"answer": "accept"}).status_code == 404
    assert dora.get(yard.home).status_code == 404


def test_a_closed_account_is_not_opened_by_a_letter(yard, clock):
    path = asked(yard, yard.emails["dora"], "owner")
    with yard.database.transaction() as session:
        email = Person.email == yard.emails["dora"]
        revoke_person(session, session.scalars(select(Person.id).where(email)).one(), clock.now)
    browser = Browser(yard.app)
    assert "You need an account" in words_of(browser.get(path))
    assert browser.post(path, NEW).status_code == 404
    assert browser.sign_in(yard.emails["dora"]).status_code == 422


def test_declining_needs_no_account_and_says_so_on_the_case_and_not_whether_there_is_one(yard):
    pages = []
    for email in (ADDRESS, yard.emails["dora"]):
        path = asked(yard, email, "owner")
        number = len(pages) + 2
        browser = Browser(yard.app)
        browser.get(path)
        assert "You have declined" in words_of(browser.post(path, {"answer": "decline"}))
        page = words_of(yard.browser("vet").get(f"/cases/{number}"))
        assert f"{email} as owner Declined" in page
        pages.append(re.sub(r"\d+", "0", page.replace(email, "ADDRESS")))
    assert pages[0] == pages[1]
    assert ends(yard) == [("declined", None), ("declined", None)]
    told = words_of(yard.browser("vet").get("/notices"))
    assert told.count("Somebody who was asked declined, or did not answer") == 2


def test_a_form_from_elsewhere_is_not_taken(yard):
    path = asked(yard, role="owner")
    browser = Browser(yard.app)
    browser.get(path)
    answer = browser.post(path, NEW, {"Origin": "https://elsewhere.example"})
    assert answer.status_code == 403
    browser.token = "0" * 64
    assert browser.post(path, NEW).status_code == 403
    assert ends(yard) == []


@pytest.mark.parametrize("odd", ["", "perhaps", "accept\0"])
def test_an_answer_that_is_none_changes_nothing(yard, odd):
    path = asked(yard, role="owner")
    browser = Browser(yard.app)
    browser.get(path)
    assert browser.post(path, {**NEW, "answer": odd}).status_code == 422
    assert ends(yard) == []
