"""The page on which anybody checks a sheet: what its code alone tells, and what the file tells."""

import io
import json
import re
import subprocess
from uuid import uuid4

import pikepdf
import pypdfium2
import pytest
from sqlalchemy import select

from referral.accounts.service import revoke_person
from referral.sheets.models import Sheet, SheetProposal, SigningKey
from referral.sheets.snapshot import in_groups
from referral.storage.canonical import sha256_hex
from tests.features.sheets.own import an_issuer, openssl
from tests.web.browsing import Browser
from tests.web.signing import at, browser_of, story_in
from tests.web.test_sheets import order_letter, sign

ADDRESS = "https://yard.example.org"


@pytest.fixture
def app(make_app):
    return make_app(address=ADDRESS)


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    at(told, clock)
    return told


def signed_letter(app, story, words=""):
    """Return a signed referral sheet's row and its bytes."""
    vet = browser_of(app, story, "vet")
    assert sign(vet, order_letter(vet, kind="referral", words=words).location).status_code == 303
    with story.database.reading() as session:
        row = session.scalars(select(Sheet).order_by(Sheet.made_at.desc(), Sheet.id.desc())).first()
    return row, vet.get(f"/cases/1/sheets/{row.id}.pdf").data


def send(browser, address, data):
    browser.get(address)
    return browser.post(address, {"sheet": (io.BytesIO(data), "copy.pdf")})


def words_on(pdf):
    document = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def private_words(story):
    """Return what a code alone must never tell."""
    with story.database.reading() as session:
        access = story.access(session, "vet")
        cast = (story.cast.vet, story.cast.farrier, story.cast.owner)
        return ["Marrow", "Hollow Lane", "Cold Bridge", *(each.name for each in cast)], access


def main_of(answer):
    return answer.text.split("<main")[1].split("</main>")[0]


def test_the_printed_code_leads_to_the_sheets_own_page(app, story):
    row, pdf = signed_letter(app, story)
    said = words_on(pdf)
    assert f"{ADDRESS}/check/{row.id}" in said.replace("\r\n", "").replace("\n", "")
    with pikepdf.open(io.BytesIO(pdf)) as document:
        content = json.loads(document.attachments["handover.json"].get_file().read_bytes())
    assert content["check_url"] == f"{ADDRESS}/check/{row.id}"


def test_the_code_alone_tells_the_hash_and_nothing_of_horse_or_people(app, story):
    row, pdf = signed_letter(app, story)
    answer = Browser(app).get(f"/check/{row.id}")
    assert answer.status_code == 200
    assert "Issued here, and no newer sheet takes its place" in answer.text
    assert sha256_hex(pdf) in answer.text
    fingerprint = in_groups(row.snapshot_sha256)
    assert fingerprint in answer.text
    assert fingerprint in words_on(pdf)  # as it is printed beside the code
    names, access = private_words(story)
    for name in names:
        assert name not in answer.text
    for word in (r"\bvet\b", r"\bfarrier\b", "referral sheet", "2026", f"case {access.number}"):
        assert not re.search(word, main_of(answer), re.IGNORECASE), word


def test_the_file_at_its_code_tells_who_signed_as_what(app, story):
    row, pdf = signed_letter(app, story)
    answer = send(Browser(app), f"/check/{row.id}", pdf)
    assert "Issued here, signed, and unchanged" in answer.text
    assert story.cast.vet.name in answer.text
    assert "Vet" in answer.text
    assert "Certificate of" not in answer.text  # the instance's own names nobody else
    assert "<dd>–</dd>" not in main_of(answer)
    changed = send(Browser(app), f"/check/{row.id}", pdf + b"\n%\n")
    assert "This instance did not issue this file as it is." in changed.text
    none = Browser(app)
    none.get(f"/check/{row.id}")
    refused = none.post(f"/check/{row.id}", {})
    assert refused.status_code == 422
    assert "Choose the PDF that you were given." in refused.text


def test_a_newer_sheet_is_named_by_code_and_file_and_another_sheet_is_told_apart(app, story, clock):
    first, old = signed_letter(app, story)
    clock.move(minutes=3)
    second, new = signed_letter(app, story, "Ring me first.")
    clock.move(minutes=3)
    third, _newest = signed_letter(app, story, "Ring me at once.")
    code = Browser(app).get(f"/check/{first.id}")
    assert "Issued here, and a newer sheet takes its place" in code.text
    assert f"/check/{third.id}" in code.text
    checked = send(Browser(app), "/check", old).text
    assert f"A newer sheet replaces it: {third.id}." in checked
    assert "signed, and unchanged, but a newer sheet takes its place" in checked
    mixed = send(Browser(app), f"/check/{first.id}", new).text
    assert "This is another sheet than the one whose code you opened" in mixed
    assert "another sheet" not in send(Browser(app), f"/check/{second.id}", new).text


def test_a_code_that_was_never_issued_or_not_yet_signed_is_not_known(app, story):
    vet = browser_of(app, story, "vet")
    order_letter(vet, kind="referral")
    with story.database.reading() as session:
        waiting = session.scalars(select(SheetProposal.id)).one()
    for code in (waiting, uuid4()):
        answer = Browser(app).get(f"/check/{code}")
        assert answer.status_code == 404
        assert "No signed sheet was issued here under this code" in answer.text
        assert "The PDF that you were given" in answer.text


def test_a_copy_from_before_the_second_signature_says_so(app, story, clock):
    story.submit()
    once = story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    early = story.office.blobs.get(once.pdf_sha256)
    assert "signed again after" not in send(Browser(app), "/check", early).text
    story.sign_plan()
    at(story, clock)
    answer = send(Browser(app), f"/check/{once.sheet_id}", early)
    assert "This sheet was signed again after this copy; ask for the later one." in answer.text


def test_without_a_public_address_the_sheet_says_where_in_words_and_prints_no_code(
    make_app, tmp_path, clock
):
    app = make_app()
    story = story_in(app, tmp_path)
    story.refer()
    at(story, clock)
    _row, pdf = signed_letter(app, story)
    said = words_on(pdf)
    assert "localhost" not in said
    assert "Check any copy on the page “Check a sheet” of A test yard" in " ".join(said.split())
    assert b"localhost" not in pdf


def test_anybody_may_have_the_root_and_the_list_of_withdrawn_certificates(app, tmp_path):
    """Read by openssl, which must find that the one signed the other."""
    (tmp_path / "root.crt").write_bytes(Browser(app).get("/authority/root.crt").data)
    answer = Browser(app).get("/authority/withdrawn.crl")
    assert answer.content_type == "application/pkix-crl"
    (tmp_path / "withdrawn.crl").write_bytes(answer.data)
    pem = openssl("x509", "-in", tmp_path / "root.crt")
    (tmp_path / "root.pem").write_bytes(pem)
    openssl("crl", "-in", tmp_path / "withdrawn.crl", "-CAfile", tmp_path / "root.pem", "-noout")
    (tmp_path / "other.pem").write_bytes(an_issuer(tmp_path / "other").read_bytes())
    with pytest.raises(subprocess.CalledProcessError):
        openssl("crl", "-in", tmp_path / "withdrawn.crl", "-CAfile", tmp_path / "other.pem")


def test_whoever_left_has_their_certificate_withdrawn_and_what_they_signed_counts(
    app, story, clock, tmp_path
):
    row, pdf = signed_letter(app, story)
    listed = tmp_path / "withdrawn.crl"

    def serials():
        listed.write_bytes(Browser(app).get("/authority/withdrawn.crl").data)
        return openssl("crl", "-in", listed, "-noout", "-text").decode()  # OpenSSL reads it

    with story.database.reading() as session:
        key = session.scalars(select(SigningKey)).one()
    assert "No Revoked Certificates" in serials()
    clock.move(hours=1)
    with story.database.transaction() as session:
        revoke_person(session, story.cast.vet.id, clock.now)
    said = serials().replace("0x", "").lower()
    assert key.serial.lower() in said.replace(":", "")
    assert "affiliation changed" in said
    answer = send(Browser(app), f"/check/{row.id}", pdf)
    assert "Issued here, signed, and unchanged" in answer.text
    assert "it counted when this was signed" in answer.text
