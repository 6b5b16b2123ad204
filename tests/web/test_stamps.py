"""Signing where a time authority is set: stamped, or refused and nothing lost."""

import dataclasses
from datetime import timedelta

import pytest
from sqlalchemy import select

from referral.accounts.sign_in import count_try
from referral.clock import utc_now
from referral.sheets import stamping
from referral.sheets.models import Sheet, Signature
from referral.sheets.snapshot import SheetKind
from tests.features.sheets.issuing import an_issuer_that_answers
from tests.features.sheets.test_letters import drafted, signed
from tests.features.sheets.time_authority import NAME, a_time_authority, is_silent
from tests.web.browsing import Browser
from tests.web.signing import browser_of, hidden_in, story_in
from tests.web.test_sheets import count, order_letter, send, sign

pytestmark = [pytest.mark.enable_socket, pytest.mark.allow_hosts(["127.0.0.1"])]
COUNTERSIGN = "/cases/1/resets/1/signature"


@pytest.fixture
def authority(tmp_path):
    with a_time_authority(tmp_path / "tsa") as running:
        yield running


@pytest.fixture
def app(make_app, authority, clock):
    clock.now = utc_now().replace(microsecond=0)  # the responder's clock is the machine's
    return make_app(time_authority=authority.address)


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.now = clock.now - timedelta(days=3)
    told.refer()
    return told


def test_a_signature_is_stamped_and_nobody_who_writes_waits_for_the_authority(
    app, story, authority, clock
):
    vet = browser_of(app, story, "vet")
    address = order_letter(vet, kind="referral").location
    written = []

    def write() -> None:
        """Write as another person would while the authority thinks; a held lock would end this."""
        with story.database.transaction() as session:
            count_try(session, "somebody", "elsewhere", ok=True, now=clock())
            written.append(1)

    authority.meanwhile = write
    assert sign(vet, address).status_code == 303
    assert written == [1]
    with story.database.reading() as session:
        row = session.scalars(select(Signature)).one()
        assert row.stamped_by == NAME
        assert abs((row.stamped_at - utc_now()).total_seconds()) < 60
        sheet_id = session.scalars(select(Sheet.id)).one()
    assert f"by {NAME}" in vet.get("/cases/1").text
    checked = send(Browser(app), vet.get(f"/cases/1/sheets/{sheet_id}.pdf").data).text
    assert "Issued here, signed, and unchanged" in checked
    assert f"UTC, by {NAME}" in checked


def test_without_an_answer_nothing_is_signed_what_was_typed_stays_and_it_can_be_tried_again(
    app, story, authority, clock, monkeypatch
):
    monkeypatch.setattr(stamping, "LONGEST_S", 0.3)
    unstamped = dataclasses.replace(story.office, time_authority=None)
    stamped, story.office = story.office, unstamped
    story.submit()
    story.agree(1)
    story.fit(1)
    story.office = stamped
    vet = browser_of(app, story, "vet")
    signed = count(story, Signature)
    typed = {"words": "Keep the toe back.", "recheck_on": "2031-05-02", "films_wanted": "DP"}
    fields = hidden_in(vet.get(COUNTERSIGN).text, COUNTERSIGN)
    authority.misbehave = is_silent
    refused = sign(vet, COUNTERSIGN, **fields, **typed, recheck_role="farrier")
    assert refused.status_code == 422
    assert "The time authority did not answer. Nothing was signed" in refused.text
    for each in typed.values():
        assert each in refused.text
    assert count(story, Signature) == signed
    authority.misbehave = None
    again = sign(vet, COUNTERSIGN, **fields, **typed, recheck_role="farrier")
    assert again.status_code == 303, again.text
    assert count(story, Signature) == signed + 1


def test_the_same_form_again_asks_the_authority_nothing(app, story, authority):
    vet = browser_of(app, story, "vet")
    address = order_letter(vet, kind="referral").location
    fields = hidden_in(vet.get(address).text, address)
    first = vet.post(address, {**fields, "password": "seven shoes on a wet gate"})
    again = vet.post(address, {**fields, "password": "seven shoes on a wet gate"})
    assert (first.status_code, again.status_code) == (303, 303)
    assert first.location == again.location
    assert len(authority.asked) == 1


@pytest.fixture
def issuer(tmp_path):
    with an_issuer_that_answers(tmp_path / "issuer") as running:
        yield running


def test_where_the_authoritys_issuer_may_be_asked_the_signature_lasts_and_pages_say_so(
    make_app, issuer, tmp_path, clock
):
    clock.now = utc_now().replace(microsecond=0)
    with a_time_authority(tmp_path / "tsa", issuer, issuer.named_list()) as authority:
        root = authority.root.read_bytes()
        app = make_app(
            time_authority=authority.address, time_authority_root=root, lookup_hosts=(issuer.host,)
        )
        story = story_in(app, tmp_path)
        story.now = clock.now - timedelta(days=3)
        story.refer()
        vet = browser_of(app, story, "vet")
        sign(vet, order_letter(vet, kind="referral").location)
        page = vet.get("/cases/1").text
        assert "It carries a time stamp, and what is needed to check it later." in page
        assert f"by {NAME}, with what is needed to check it later" in page
        issuer.broken = True
        clock.move(minutes=1)
        sign(vet, order_letter(vet, kind="referral").location)
        page = vet.get("/cases/1").text
        assert "what is needed to check it later, when certificates have ended, could not" in page
    with story.database.reading() as session:
        rows = session.scalars(select(Signature).order_by(Signature.id)).all()
        ids = session.scalars(select(Sheet.id).order_by(Sheet.id)).all()
    assert [row.level for row in rows] == ["B-LT", "B-T"]
    said = ("yes: the file carries what that needs", "not when certificates have ended")
    for sheet_id, words in zip(ids, said, strict=True):
        checked = send(Browser(app), vet.get(f"/cases/1/sheets/{sheet_id}.pdf").data).text
        assert "Issued here, signed, and unchanged" in checked
        assert words in checked


def test_the_check_page_says_of_a_stamp_that_it_is_of_none_of_the_named_authorities(
    make_app, authority, tmp_path, clock
):
    clock.now = utc_now().replace(microsecond=0)
    with a_time_authority(tmp_path / "other") as other:
        app = make_app(time_authority=other.address, time_authority_root=other.root.read_bytes())
    story = story_in(app, tmp_path)
    story.now = clock.now - timedelta(minutes=13)  # as far as the referral takes it
    elsewhere = {"time_authority": authority.address, "time_authority_root": None}
    story.office = dataclasses.replace(story.office, **elsewhere)
    story.refer()
    sheet = signed(story, drafted(story, SheetKind.REFERRAL))
    checked = send(Browser(app), story.office.blobs.get(sheet.pdf_sha256)).text
    assert "Do not rely on this copy as it is" in checked
    assert f"the time stamp is of {NAME}, which is none of the time authorities" in checked
    assert f"by {NAME}: none of the time authorities that are trusted here" in checked
