"""Bringing one's own certificate: taken or refused in a sentence, signed with, named, removed."""

import io

import pytest
from sqlalchemy import select

from referral.clock import utc_now
from referral.sheets.models import OwnCertificate, Sheet, Signature
from tests.factories import PASSWORD
from tests.features.sheets.issuing import an_issuer_that_answers
from tests.features.sheets.own import FIT, HOLDER, ISSUER, PASSPHRASE, a_p12, openssl
from tests.web.browsing import Browser
from tests.web.signing import at, browser_of, story_in
from tests.web.test_sheets import count, order_letter, send, sign

PAGE = "/account/certificate"


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.now = clock.now = utc_now()  # openssl dates its certificates by the machine's clock
    told.refer()
    at(told, clock)
    return told


def bring(browser, data, **changed):
    browser.get(PAGE)
    fields = {"passphrase": PASSPHRASE, "password": PASSWORD, **changed}
    return browser.post(PAGE, {**fields, "certificate": (io.BytesIO(data), "own.p12")})


def letter(app, story, vet):
    assert sign(vet, order_letter(vet, kind="referral").location).status_code == 303
    with story.database.reading() as session:
        row = session.scalars(select(Signature).order_by(Signature.id.desc())).first()
        sheet_id = session.scalars(select(Sheet.id).order_by(Sheet.id.desc())).first()
    return row, vet.get(f"/cases/1/sheets/{sheet_id}.pdf").data


def test_it_is_brought_signed_with_named_everywhere_and_removed(app, story, tmp_path, clock):
    vet = browser_of(app, story, "vet")
    assert PAGE in vet.get("/account").text
    assert bring(vet, a_p12(tmp_path)).location == PAGE
    page = vet.get(PAGE).text
    for said in (HOLDER, ISSUER, "this instance’s authority says nothing about it"):
        assert said in page
    address = order_letter(vet, kind="referral").location
    assert f"of {HOLDER}, issued by {ISSUER}" in vet.get(address).text
    row, pdf = letter(app, story, vet)
    assert row.issuer == ISSUER
    assert f"own certificate issued by {ISSUER}" in vet.get("/cases/1").text
    checked = send(Browser(app), pdf).text
    assert "Issued here, signed, and unchanged" in checked
    assert "brought by the signer, this instance’s authority says nothing of it" in checked
    assert "yes, with a certificate of their own" in checked

    wrong = vet.post(f"{PAGE}/removal", {"password": "not the password at all"})
    assert wrong.status_code == 422
    assert "This is not your password." in wrong.text
    assert vet.post(f"{PAGE}/removal", {"password": PASSWORD}).location == PAGE
    with story.database.reading() as session:
        assert session.scalars(select(OwnCertificate.wrapped_key)).all() == [None]
    assert "this instance’s own authority issues for you" in vet.get(PAGE).text
    clock.move(minutes=1)
    row, _pdf = letter(app, story, vet)
    assert row.issuer is None
    # what was signed with it before is known as before
    assert "Issued here, signed, and unchanged" in send(Browser(app), pdf).text


def test_one_that_has_ended_signs_nothing_and_says_what_to_do(app, story, tmp_path, clock):
    vet = browser_of(app, story, "vet")
    assert bring(vet, a_p12(tmp_path, days="2")).status_code == 303
    clock.move(days=3)
    vet = browser_of(app, story, "vet")
    answer = sign(vet, order_letter(vet, kind="referral").location)
    assert answer.status_code == 422
    assert "Your own certificate ended on" in answer.text
    assert count(story, Signature) == 0
    assert "Your certificate has ended" in vet.get(PAGE).text


def test_what_cannot_be_used_is_said_and_secrets_are_not_shown_again(app, story, tmp_path):
    vet = browser_of(app, story, "vet")
    data = a_p12(tmp_path)
    for changed, said in (
        ({"passphrase": "a wrong phrase"}, "This file and passphrase do not open"),
        ({"password": "not the password at all"}, "This is not your password."),
        ({"passphrase": ""}, "Please fill this in."),
    ):
        answer = bring(vet, data, **changed)
        assert answer.status_code == 422
        assert said in answer.text
        for secret in (PASSPHRASE, PASSWORD, "a wrong phrase", "not the password at all"):
            assert f'value="{secret}"' not in answer.text
    vet.get(PAGE)
    none = vet.post(PAGE, {"passphrase": PASSPHRASE, "password": PASSWORD})
    assert "Choose the .p12 file that holds your certificate and key." in none.text
    assert (
        "You have brought no certificate."
        in vet.post(f"{PAGE}/removal", {"password": PASSWORD}).text
    )
    assert count(story, OwnCertificate) == 0


def test_an_owner_has_no_such_page(app, story):
    owner = browser_of(app, story, "owner")
    assert PAGE not in owner.get("/account").text
    assert owner.get(PAGE).status_code == 403


@pytest.fixture
def issuer(tmp_path):
    with an_issuer_that_answers(tmp_path / "issuer", ISSUER) as running:
        yield running


@pytest.fixture
def asking(make_app, issuer, tmp_path, clock):
    """The story on an instance that may ask the issuer; the vet brought a certificate of theirs."""
    app = make_app(lookup_hosts=(issuer.host,))
    told = story_in(app, tmp_path)
    told.now = clock.now = utc_now()
    told.refer()
    at(told, clock)
    vet = browser_of(app, told, "vet")
    made = issuer.issue("own", FIT + issuer.named_list(), f"/CN={HOLDER}")
    p12 = openssl("pkcs12", "-export", "-inkey", made.with_suffix(".key"), "-in", made,
                  "-certfile", issuer.root, "-passout", f"pass:{PASSPHRASE}")  # fmt: skip
    assert bring(vet, p12).location == PAGE
    return told, vet, made


@pytest.mark.enable_socket
@pytest.mark.allow_hosts(["127.0.0.1"])
def test_one_that_its_issuer_withdrew_signs_nothing_and_says_what_to_do(asking, issuer):
    story, vet, made = asking
    issuer.revoke(made)
    refused = sign(vet, order_letter(vet, kind="referral").location)
    assert refused.status_code == 422
    assert "Your own certificate no longer counts: its issuer withdrew it" in refused.text
    assert count(story, Signature) == 0


@pytest.mark.enable_socket
@pytest.mark.allow_hosts(["127.0.0.1"])
def test_one_that_could_be_asked_about_is_signed_with_and_one_that_could_not_says_so(
    asking, issuer, clock
):
    story, vet, _made = asking
    unasked = "Whether your own certificate was withdrawn could not be asked."
    sign(vet, order_letter(vet, kind="referral").location)
    page = vet.get("/cases/1").text
    assert "It carries no time stamp: its time is this instance’s own word." in page
    assert unasked not in page
    issuer.broken = True
    clock.move(minutes=1)
    assert sign(vet, order_letter(vet, kind="referral").location).status_code == 303
    page = vet.get("/cases/1").text
    assert unasked in page
    assert "which could not be asked whether it was withdrawn" in page
    with story.database.reading() as session:
        rows = session.scalars(select(Signature).order_by(Signature.id)).all()
    assert [(row.asked, row.level) for row in rows] == [(True, "B-B"), (False, "B-B")]
