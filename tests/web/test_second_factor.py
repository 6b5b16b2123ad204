"""Codes beside the password: set up on the account's page, asked for when signing, taken off."""

import base64
import re

import pytest

from referral.sheets.models import Signature
from tests.factories import PASSWORD
from tests.features.accounts.test_second_factor import code_of
from tests.web.signing import at, browser_of, hidden_in, story_in
from tests.web.test_sheets import count, order_letter, sign

PAGE = "/account/codes"


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    at(told, clock)
    return told


def set_up(vet, clock):
    """Set codes up through the pages and return the secret, as a person would type it."""
    vet.get(PAGE)
    assert vet.post(PAGE, {"password": PASSWORD}).location == PAGE
    page = vet.get(PAGE).text
    letters = re.search(r"\b([A-Z2-7]{4}(?: [A-Z2-7]{4}){7})\b", page)[1]
    secret = base64.b32decode(letters.replace(" ", ""))
    assert "data:image/svg+xml;base64," in page
    wrong = vet.post(f"{PAGE}/confirmation", {"code": "12345"})
    assert wrong.status_code == 422
    assert "This is not the code of now" in wrong.text
    assert vet.post(f"{PAGE}/confirmation", {"code": code_of(secret, clock())}).location == PAGE
    on = vet.get(PAGE).text
    assert "Signing asks for a code beside your password" in on
    assert letters not in on
    clock.move(minutes=1)
    return secret


def test_signing_asks_for_the_code_and_takes_each_once(app, story, clock):
    vet = browser_of(app, story, "vet")
    assert PAGE in vet.get("/account").text
    secret = set_up(vet, clock)
    address = order_letter(vet, kind="referral").location
    assert 'name="code"' in vet.get(address).text
    for given, said in (
        ({}, "Type the code that your telephone shows."),
        ({"code": "000 00"}, "This is not the code of now"),
        ({"code": code_of(secret, clock()), "password": "not it at all"}, "not your password"),
    ):
        answer = sign(vet, address, **given)
        assert answer.status_code == 422
        assert said in answer.text
        if given.get("code"):
            assert f'value="{given["code"]}"' not in answer.text
    assert count(story, Signature) == 0
    # a wrong password used no code up
    fields = hidden_in(vet.get(address).text, address)
    code = code_of(secret, clock())
    first = vet.post(address, {**fields, "password": PASSWORD, "code": code})
    assert first.status_code == 303
    # the very same form again leads to the same page, though its code is used up
    again = vet.post(address, {**fields, "password": PASSWORD, "code": code})
    assert (again.status_code, again.location) == (303, first.location)
    second = order_letter(vet, kind="referral").location
    reused = sign(vet, second, code=code)
    assert reused.status_code == 422
    assert "it was used already" in reused.text
    clock.move(seconds=30)
    assert sign(vet, second, code=code_of(secret, clock())).status_code == 303
    assert count(story, Signature) == 2


def test_the_right_password_with_wrong_codes_is_a_failed_try(app, story, clock):
    vet = browser_of(app, story, "vet")
    secret = set_up(vet, clock)
    address = order_letter(vet, kind="referral").location
    for _ in range(5):
        sign(vet, address, code="99 999")
    answer = sign(vet, address, code=code_of(secret, clock()))
    assert answer.status_code == 422
    assert "Too many tries have failed" in answer.text
    assert count(story, Signature) == 0
    clock.move(minutes=15)
    assert sign(vet, address, code=code_of(secret, clock())).status_code == 303


def test_it_is_taken_off_with_the_password(app, story, clock):
    vet = browser_of(app, story, "vet")
    set_up(vet, clock)
    wrong = vet.post(f"{PAGE}/removal", {"password": "not the password at all"})
    assert wrong.status_code == 422
    assert vet.post(f"{PAGE}/removal", {"password": PASSWORD}).location == PAGE
    address = order_letter(vet, kind="referral").location
    assert 'name="code"' not in vet.get(address).text
    assert sign(vet, address).status_code == 303


def test_nothing_changes_without_the_password_or_before_the_first_code(app, story):
    vet = browser_of(app, story, "vet")
    vet.get(PAGE)
    assert vet.post(PAGE, {"password": "not the password at all"}).status_code == 422
    assert "Set codes up" in vet.get(PAGE).text
    vet.post(PAGE, {"password": PASSWORD})
    address = order_letter(vet, kind="referral").location
    assert sign(vet, address).status_code == 303
