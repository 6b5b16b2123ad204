"""Signing in and out, forms from elsewhere, and open sessions, through HTTP."""

import re
from dataclasses import dataclass

import pytest

from referral.accounts.service import revoke_person
from referral.web.login import safe_next
from tests.factories import NOW, PASSWORD, a_cast
from tests.web.browsing import Browser, token_in

NEW_PASSWORD = "eight nails in the grass"


@dataclass(frozen=True)
class Emails:
    vet: str
    vet_id: object
    farrier: str


@pytest.fixture
def people(database):
    with database.transaction() as session:
        cast = a_cast(session)
        return Emails(cast.vet.email, cast.vet.id, cast.farrier.email)


@pytest.fixture
def browser(app):
    return Browser(app)


def test_signing_in_leads_to_where_one_was_going(browser, people):
    answer = browser.get("/account?x=1")
    assert answer.status_code == 303
    assert answer.location == "/sign-in?next=%2Faccount%3Fx%3D1"
    page = browser.get(answer.location)
    assert 'value="/account?x=1"' in page.text
    answer = browser.sign_in(people.vet, following="/account?x=1")
    assert (answer.status_code, answer.location) == (303, "/account?x=1")
    assert people.vet in browser.get("/account").text


def test_somebody_signed_in_does_not_see_the_door_again(browser, people):
    browser.sign_in(people.vet)
    answer = browser.get("/sign-in?next=/account")
    assert (answer.status_code, answer.location) == (303, "/account")


@pytest.mark.parametrize(
    ("email", "password"),
    [("vet", "not the right one"), ("nobody@example.org", PASSWORD)],
)
def test_a_wrong_or_unknown_sign_in_gets_one_sentence_and_keeps_the_email(
    browser, people, email, password
):
    typed = people.vet if email == "vet" else email
    answer = browser.sign_in(typed, password)
    assert answer.status_code == 422
    assert "The email or the password is not right." in answer.text
    assert f'value="{typed}"' in answer.text
    assert password not in answer.text
    assert "referral-session" not in answer.headers.get("Set-Cookie", "")


def test_a_door_left_blank_says_what_is_missing(browser):
    answer = browser.post("/sign-in", {"email": " ", "password": ""})
    assert answer.status_code == 422
    for name in ("email", "password"):
        assert re.search(rf'id="{name}-fault"><span>Please fill this in\.<', answer.text)


def test_the_sixth_try_must_wait(browser, people):
    for _ in range(5):
        assert browser.sign_in(people.vet, "wrong").status_code == 422
    answer = browser.sign_in(people.vet)
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "900"
    assert "Wait 15 minutes" in answer.text


def test_a_revoked_person_is_out_at_once(browser, people, database):
    browser.sign_in(people.vet)
    with database.transaction() as session:
        revoke_person(session, people.vet_id, NOW)
    assert browser.get("/account").status_code == 303
    assert browser.sign_in(people.vet).status_code == 422


def test_signing_out_ends_the_session_itself(app, browser, people):
    browser.sign_in(people.vet)
    stolen = browser.cookie("referral-session")
    answer = browser.post("/sign-out")
    assert (answer.status_code, answer.location) == (303, "/sign-in")
    thief = Browser(app)
    thief.client.set_cookie("referral-session", stolen, domain="localhost")
    assert thief.get("/account").status_code == 303


def test_signing_in_again_makes_a_new_session_and_ends_the_old(app, browser, people):
    browser.sign_in(people.vet)
    old = browser.cookie("referral-session")
    browser.sign_in(people.vet)
    assert browser.cookie("referral-session") != old
    thief = Browser(app)
    thief.client.set_cookie("referral-session", old, domain="localhost")
    assert thief.get("/account").status_code == 303


def test_a_session_ends_after_an_idle_hour(browser, people, clock):
    browser.sign_in(people.vet)
    clock.move(minutes=59)
    assert browser.get("/account").status_code == 200
    clock.move(minutes=61)
    assert browser.get("/account").status_code == 303


def test_a_session_ends_after_twelve_hours_in_use(browser, people, clock):
    browser.sign_in(people.vet)
    for _ in range(23):
        clock.move(minutes=30)
        assert browser.get("/account").status_code == 200
    clock.move(minutes=30)
    assert browser.get("/account").status_code == 303


def test_a_form_sent_after_the_session_ended_says_so(browser, people, clock):
    browser.sign_in(people.vet)
    token = token_in(browser.get("/account"))
    clock.move(hours=2)
    answer = browser.client.post("/account/sessions/ending", data={"csrf_token": token})
    assert answer.status_code == 401
    assert "what you typed is still here" in answer.text


def test_the_session_cookie_is_for_this_host_and_not_for_scripts(browser, people):
    answer = browser.sign_in(people.vet)
    [cookie] = [each for each in answer.headers.getlist("Set-Cookie") if "-session=" in each]
    parts = {each.strip().lower() for each in cookie.split(";")[1:]}
    assert {"httponly", "path=/", "samesite=lax"} <= parts
    assert not any(each.startswith("domain") for each in parts)
    assert cookie.startswith("referral-session=")


def test_in_production_cookies_carry_the_host_prefix(make_app, people):
    browser = Browser(make_app(production=True), "https://case.example.org")
    answer = browser.sign_in(people.vet)
    assert answer.status_code == 303
    cookies = answer.headers.getlist("Set-Cookie")
    assert any(each.startswith("__Host-referral-session=") for each in cookies)
    for each in cookies:
        assert each.startswith("__Host-")
        assert "Secure" in each
        assert "Path=/" in each
        assert "Domain" not in each
    assert browser.get("/account").status_code == 200


@pytest.mark.parametrize("token", [None, "", "0" * 64, "\N{HORSE FACE}"])
def test_a_form_without_the_right_token_does_nothing(browser, people, token):
    browser.sign_in(people.vet)
    data = {} if token is None else {"csrf_token": token}
    answer = browser.client.post("/account/sessions/ending", data=data)
    assert answer.status_code == 403
    assert browser.get("/account").status_code == 200


def test_a_token_of_another_session_is_refused(app, browser, people):
    browser.sign_in(people.vet)
    other = Browser(app)
    other.sign_in(people.farrier)
    token = token_in(other.get("/account"))
    answer = browser.client.post("/account/sessions/ending", data={"csrf_token": token})
    assert answer.status_code == 403


def test_the_door_itself_asks_for_a_token(app, people):
    answer = app.test_client().post("/sign-in", data={"email": people.vet, "password": PASSWORD})
    assert answer.status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.test"},
        {"Origin": "null"},
        {"Origin": "http://localhost:81"},
        {"Origin": "https://localhost"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_from_another_site_does_nothing(browser, people, headers):
    browser.sign_in(people.vet)
    answer = browser.post("/account/sessions/ending", headers=headers)
    assert answer.status_code == 403
    assert "another site" in answer.text
    assert browser.get("/account").status_code == 200


def test_the_token_may_come_in_a_header_with_our_own_origin(browser, people):
    browser.sign_in(people.vet)
    headers = {
        "X-CSRF-Token": token_in(browser.get("/account")),
        "Origin": "http://localhost",
        "Sec-Fetch-Site": "same-origin",
    }
    answer = browser.client.post("/account/sessions/ending", headers=headers)
    assert answer.status_code == 303


def test_open_sessions_are_listed_and_ended_one_by_one(app, browser, people):
    phone = Browser(app, agent="A phone")
    phone.sign_in(people.vet)
    browser.sign_in(people.vet)
    page = browser.get("/account").text
    assert page.count("/ending") == 3
    assert "A phone" in page
    ids = re.findall(r"/account/sessions/([0-9a-f-]{36})/ending", page)
    phones = next(each for each in ids if "A phone" in browser.item_of(page, each))
    assert browser.post(f"/account/sessions/{phones}/ending").location == "/account"
    assert phone.get("/account").status_code == 303
    assert browser.get("/account").status_code == 200
    [mine] = set(ids) - {phones}
    assert browser.post(f"/account/sessions/{mine}/ending").location == "/sign-in"
    assert browser.get("/account").status_code == 303


def test_a_session_of_somebody_else_does_not_exist(app, browser, people):
    stranger = Browser(app)
    stranger.sign_in(people.farrier)
    browser.sign_in(people.vet)
    [mine] = re.findall(r"/account/sessions/([0-9a-f-]{36})/", browser.get("/account").text)
    assert stranger.post(f"/account/sessions/{mine}/ending").status_code == 404
    assert browser.get("/account").status_code == 200


def test_all_sessions_end_at_once(app, browser, people):
    phone = Browser(app)
    phone.sign_in(people.vet)
    browser.sign_in(people.vet)
    assert browser.post("/account/sessions/ending").location == "/sign-in"
    assert phone.get("/account").status_code == 303
    assert browser.get("/account").status_code == 303


def test_a_new_password_ends_the_other_sessions(app, browser, people):
    phone = Browser(app)
    phone.sign_in(people.vet)
    browser.sign_in(people.vet)
    answer = browser.post("/account/password", {"present": PASSWORD, "password": NEW_PASSWORD})
    assert (answer.status_code, answer.location) == (303, "/account")
    assert phone.get("/account").status_code == 303
    assert browser.get("/account").status_code == 200
    assert phone.sign_in(people.vet).status_code == 422
    assert phone.sign_in(people.vet, NEW_PASSWORD).status_code == 303


@pytest.mark.parametrize(
    ("present", "password", "sentence"),
    [
        ("not the right one", NEW_PASSWORD, "This is not your present password."),
        (PASSWORD, "too short", "needs at least 15 characters"),
        (PASSWORD, "", "Please fill this in."),
    ],
)
def test_a_refused_password_says_why_and_shows_none(browser, people, present, password, sentence):
    browser.sign_in(people.vet)
    answer = browser.post("/account/password", {"present": present, "password": password})
    assert answer.status_code == 422
    assert sentence in answer.text
    assert present not in answer.text


@pytest.mark.parametrize(
    "target",
    [
        "//example.com",
        "////example.com",
        "/\\example.com",
        "\\\\example.com",
        "https:example.com",
        "https:///example.com",
        "javascript:alert(1)",
        "\t//example.com",
        "/\t/example.com",
        "http://localhost.evil.test/",
        "/cases\r\nSet-Cookie: a=b",
        "/cases\x7f",
        "cases/1",
        "",
        None,
    ],
)
def test_only_a_path_of_our_own_is_gone_on_to(target):
    assert safe_next(target) == "/"


@pytest.mark.parametrize("target", ["/", "/cases/1", "/cases/1?limb=LF#plan"])
def test_a_path_of_our_own_is_gone_on_to(target):
    assert safe_next(target) == target


def test_the_door_sends_nobody_off_site(browser, people):
    answer = browser.sign_in(people.vet, following="////example.com")
    assert answer.location == "/"
