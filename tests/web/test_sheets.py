"""Looking at a sheet and signing it: who may, with what, and exactly once."""

import dataclasses
import io
import json

import pikepdf
import pytest
from sqlalchemy import func, select

from referral.app import worker_of
from referral.cases.models import Entry, Problem
from referral.horses.models import Horse
from referral.plans.agreement import must_be_answered
from referral.plans.queries import plan_of
from referral.sheets import asking, check_views
from referral.sheets.models import Sheet, SheetProposal, Signature
from referral.sheets.orders import RENDER_SHEET
from tests.factories import PASSWORD, a_limit
from tests.web.browsing import Browser
from tests.web.signing import at, browser_of, hidden_in, story_in

AGREEMENTS = "/cases/1/plans/1/agreements"
PLAN_SIGNATURE = "/cases/1/plans/1/signature"


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    with told.database.transaction() as session:
        a_limit(session, told.access(session, "vet"), "sole_depth_tip_mm", told.now, at_least=15)
    told.submit()
    at(told, clock)
    return told


def count(story, model):
    with story.database.reading() as session:
        return session.scalar(select(func.count()).select_from(model))


def answers(story):
    """Return the answers that the findings of plan 1 ask for, as the form sends them."""
    with story.database.reading() as session:
        view = plan_of(session, story.access(session, "vet").case_id, 1)
        asked = {each.id: must_be_answered(each) for each in view.findings}
    return {
        f"waiver_{key}" if want == "waived" else f"seen_{key}": "One visit at a time."
        for key, want in asked.items()
        if want
    }


def propose(story, browser):
    """Agree on the plan page and return the address of the sheet to be signed."""
    page = browser.get("/cases/1/plans/1").text
    answer = browser.post(AGREEMENTS, {**hidden_in(page, AGREEMENTS), **answers(story)})
    assert answer.status_code == 303, answer.text
    return answer.location


def sign(browser, address, action="", **changed):
    action = action or address
    fields = hidden_in(browser.get(address).text, action)
    return browser.post(action, {**fields, "password": PASSWORD, **changed})


def test_agreeing_without_the_waiver_keeps_what_was_typed(app, story):
    browser = browser_of(app, story, "vet")
    page = browser.get("/cases/1/plans/1").text
    fields = {**hidden_in(page, AGREEMENTS), "words": "Nearly there, mind the sole."}
    answer = browser.post(AGREEMENTS, fields)
    assert answer.status_code == 422
    assert "Give the reason for agreeing all the same." in answer.text
    assert "Nearly there, mind the sole." in answer.text
    assert count(story, SheetProposal) == 0


def test_a_waivers_reason_that_no_sheet_can_print_is_refused_beside_it(app, story):
    browser = browser_of(app, story, "vet")
    page = browser.get("/cases/1/plans/1").text
    said = dict.fromkeys(answers(story), "One visit at a time 🐴")
    waivers = [name for name in said if name.startswith("waiver_")]
    answer = browser.post(AGREEMENTS, {**hidden_in(page, AGREEMENTS), **said})
    assert answer.status_code == 422
    assert waivers
    for name in waivers:
        beside = answer.text.partition(f'id="{name}-fault"')[2].partition("</p>")[0]
        assert "(U+1F434) after “One visit at a time” cannot be printed" in beside
    assert answer.text.count("One visit at a time \U0001f434") >= len(waivers)
    assert count(story, SheetProposal) == 0


def test_the_vet_sees_the_very_pages_and_signs_them(app, story, clock):
    browser = browser_of(app, story, "vet")
    address = propose(story, browser)
    page = browser.get(address).text
    with story.database.reading() as session:
        proposal = session.scalars(select(SheetProposal)).one()
    assert proposal.pdf_sha256 in page
    pdf = browser.get(f"/cases/1/sheets/{proposal.id}.pdf")
    assert pdf.data == story.office.blobs.get(proposal.pdf_sha256)
    with pikepdf.open(io.BytesIO(pdf.data)) as document:
        assert page.count("/pages/") == 2 * len(document.pages)
    picture = browser.get(f"/cases/1/sheets/{proposal.id}/pages/1.png")
    assert picture.data.startswith(b"\x89PNG")
    assert browser.get(f"/cases/1/sheets/{proposal.id}/pages/99.png").status_code == 404

    answer = sign(browser, address)
    assert (answer.status_code, answer.location) == (303, "/cases/1#sheets")
    with story.database.reading() as session:
        signature = session.scalars(select(Signature)).one()
        assert signature.person_id == story.cast.vet.id
        assert signature.role == "vet"
    assert count(story, SheetProposal) == 0
    case = browser.get("/cases/1").text
    assert f"/cases/1/sheets/{proposal.id}.pdf" in case
    assert "One signature" in case


def test_a_wrong_password_signs_nothing_and_is_counted(app, story, clock):
    browser = browser_of(app, story, "vet")
    clock.move(seconds=1)
    address = propose(story, browser)
    for _ in range(5):
        answer = sign(browser, address, password="not the password at all")
        assert answer.status_code == 422
        assert "This is not your password." in answer.text
        assert "not the password at all" not in answer.text
    answer = sign(browser, address)
    assert answer.status_code == 422
    assert "Wait 15 minutes" in answer.text
    assert count(story, Signature) == 0


def test_other_bytes_than_those_shown_are_not_signed(app, story):
    browser = browser_of(app, story, "vet")
    address = propose(story, browser)
    answer = sign(browser, address, pdf_sha256="0" * 64)
    assert answer.status_code == 409
    assert "not the sheet you looked at" in answer.text
    assert count(story, Sheet) == 0


def test_the_same_form_sent_twice_is_done_once(app, story):
    browser = browser_of(app, story, "vet")
    page = browser.get("/cases/1/plans/1").text
    fields = {**hidden_in(page, AGREEMENTS), **answers(story)}
    first, second = browser.post(AGREEMENTS, fields), browser.post(AGREEMENTS, fields)
    assert first.location == second.location
    assert count(story, SheetProposal) == 1

    signing = hidden_in(browser.get(first.location).text, first.location)
    signing["password"] = PASSWORD
    entries = count(story, Entry)
    one, two = browser.post(first.location, signing), browser.post(first.location, signing)
    assert (one.status_code, two.status_code) == (303, 303)
    assert one.location == two.location
    assert count(story, Signature) == 1
    assert count(story, Entry) == entries + 1


def test_strangers_find_nothing_and_the_farrier_no_proposal(app, story):
    vet = browser_of(app, story, "vet")
    address = propose(story, vet)
    with story.database.reading() as session:
        sheet_id = session.scalars(select(SheetProposal.id)).one()
    paths = (
        address,
        PLAN_SIGNATURE,
        f"/cases/1/sheets/{sheet_id}.pdf",
        f"/cases/1/sheets/{sheet_id}/pages/1.png",
    )
    for who in ("other_vet", "farrier"):
        browser = browser_of(app, story, who)
        for path in paths:
            assert browser.get(path).status_code == 404, (who, path)
        form = {"pdf_sha256": "0" * 64, "password": PASSWORD}
        assert browser.post(address, form).status_code == 404
        seen = {"seen_sha256": "0" * 64}
        assert browser.post(AGREEMENTS, seen).status_code == (404 if who == "other_vet" else 403)
    assert count(story, Signature) == 0


def test_the_farrier_signs_second_then_consent_is_next(app, story, clock):
    sign(vet := browser_of(app, story, "vet"), propose(story, vet))
    at(story, clock)
    farrier = browser_of(app, story, "farrier")
    page = farrier.get(PLAN_SIGNATURE).text
    assert "I accept this plan and will follow it" in page
    assert vet.get(PLAN_SIGNATURE).status_code == 404
    answer = sign(farrier, PLAN_SIGNATURE)
    assert answer.status_code == 303, answer.text
    with story.database.reading() as session:
        rows = session.scalars(select(Signature).order_by(Signature.position)).all()
        assert [each.role for each in rows] == ["vet", "farrier"]
        state = story.access(session, "owner").state
    assert state.task == "Consent to the plan"
    again = farrier.get(PLAN_SIGNATURE).text
    assert "Not now" in again
    assert 'name="password"' not in again

    owner = browser_of(app, story, "owner")
    sheet = owner.get(f"/cases/1/sheets/{rows[0].sheet_id}.pdf")
    assert sheet.headers["Cache-Control"] == "private, no-store"
    assert sheet.headers["Content-Disposition"] == "inline; filename=case-1-agreed-plan.pdf"
    assert sheet.data == story.office.blobs.get(rows[1].pdf_sha256)


def signed_by_both(story, clock):
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    sheet = story.sign_plan()
    at(story, clock)
    return story.office.blobs.get(sheet.pdf_sha256)


def send(browser, data, name="copy.pdf"):
    browser.get("/check")
    return browser.post("/check", {"sheet": (io.BytesIO(data), name)})


def test_anybody_checks_a_copy(app, story, clock):
    pdf = signed_by_both(story, clock)
    anybody = Browser(app)
    answer = send(anybody, pdf)
    assert answer.status_code == 200
    assert "Issued here, signed, and unchanged" in answer.text
    assert story.cast.vet.name in answer.text
    assert story.cast.farrier.name in answer.text
    assert "nothing newer" in answer.text

    at_last = pdf.rindex(b"endobj")
    changed = send(anybody, pdf[:at_last] + b"ENDOBJ" + pdf[at_last + 6 :])
    assert "Issued here, signed, and unchanged" not in changed.text
    appended = send(anybody, pdf + b"\n% more\n")
    assert "This instance did not issue this file as it is." in appended.text


def test_what_is_no_sheet_is_told_plainly(app, story):
    anybody = Browser(app)
    assert "cannot be read" in send(anybody, b"not a PDF at all").text
    anybody.get("/check")
    none = anybody.post("/check", {})
    assert none.status_code == 422
    assert "Choose the PDF that you were given." in none.text


def test_a_file_that_is_too_large_is_refused(app, monkeypatch):
    monkeypatch.setattr(check_views, "LARGEST_PDF_BYTES", 1000)
    assert send(Browser(app), bytes(1001)).status_code == 413


def test_the_attached_content_is_the_snapshot_that_is_stored(app, story, clock):
    pdf = signed_by_both(story, clock)
    with story.database.reading() as session:
        stored = session.scalars(select(Sheet)).one()
        content = story.office.blobs.get(stored.snapshot_sha256)
    with pikepdf.open(io.BytesIO(pdf)) as document:
        attached = document.attachments["handover.json"].get_file().read_bytes()
    assert attached == content
    said = json.loads(content)
    assert said["kind"] == "agreed_plan"
    assert said["limbs"][0]["waivers"][0]["reason"] == "Known, and worth it."


LETTERS = "/cases/1/sheets"


def order_letter(browser, **given):
    fields = hidden_in(browser.get(f"{LETTERS}/new").text, LETTERS)
    return browser.post(LETTERS, {**fields, **given})


def test_a_vet_has_a_referral_sheet_made_looks_at_it_and_signs_it(app, story):
    vet = browser_of(app, story, "vet")
    assert f"{LETTERS}/new" in vet.get("/cases/1").text
    assert "The case is not closed yet." in vet.get(f"{LETTERS}/new").text
    asked = order_letter(vet, kind="referral", words="Ring me from the yard.")
    assert asked.status_code == 303, asked.text
    assert "I refer this horse as written here" in vet.get(asked.location).text
    assert sign(vet, asked.location).status_code == 303
    for who in ("owner", "farrier"):
        page = browser_of(app, story, who).get("/cases/1").text
        assert "Referral, 25 Nov 2026 (PDF)" in page
        assert "signed the referral sheet" in page
        assert f"{LETTERS}/new" not in page
    with story.database.reading() as session:
        sheet_id = session.scalars(select(Sheet.id)).one()
    owner = browser_of(app, story, "owner").get(f"/cases/1/sheets/{sheet_id}.pdf")
    assert owner.data.startswith(b"%PDF")
    assert "Issued here, signed, and unchanged" in send(Browser(app), owner.data).text


def test_what_cannot_be_made_or_printed_is_said_beside_the_form_with_what_was_typed(app, story):
    vet = browser_of(app, story, "vet")
    for given, said in (
        ({"kind": "closing"}, "The case is not closed yet."),
        ({"kind": "referral", "words": "Ring 蹄 first"}, "U+8E44"),
    ):
        answer = order_letter(vet, **given)
        assert answer.status_code == 422
        assert said in answer.text
        assert given.get("words", "") in answer.text
    assert count(story, SheetProposal) == 0


@pytest.fixture
def without_worker(app, monkeypatch):
    wired = app.extensions["referral"]
    app.extensions["referral"] = dataclasses.replace(wired, work=None)
    monkeypatch.setattr(asking, "LONGEST_WAIT_S", 0.0)
    return worker_of(wired)


def test_a_sheet_that_takes_longer_is_shown_as_being_made_until_it_is(app, story, without_worker):
    vet = browser_of(app, story, "vet")
    address = order_letter(vet, kind="referral").location
    page = vet.get(address).text
    assert "it is being made" in page
    assert 'name="password"' not in page
    with story.database.reading() as session:
        sheet_id = session.scalars(select(SheetProposal.id)).one()
    assert vet.get(f"/cases/1/sheets/{sheet_id}.pdf").status_code == 404
    fields = {"pdf_sha256": "0" * 64, "password": PASSWORD}
    assert vet.post(address, fields).status_code == 409
    assert without_worker.run_waiting()
    assert 'name="password"' in vet.get(address).text


def test_an_order_that_another_took_the_place_of_makes_nothing(app, story, without_worker):
    vet = browser_of(app, story, "vet")
    first = order_letter(vet, kind="referral").location
    second = order_letter(vet, kind="referral", words="Better so.").location
    assert without_worker.run_waiting()
    assert vet.get(first).status_code == 404
    assert 'name="password"' in vet.get(second).text
    assert count(story, SheetProposal) == 1


def test_what_the_worker_cannot_make_is_refused_in_a_sentence(app, story, without_worker):
    vet = browser_of(app, story, "vet")
    address = order_letter(vet, kind="referral").location
    with story.database.transaction() as session:
        horse = session.get_one(Horse, story.access(session, "vet").horse_id)
        horse.name = "蹄"
    without_worker.run_waiting()
    page = vet.get(address).text
    assert "it could not be made" in page
    assert "U+8E44" in page


def test_words_of_before_that_no_sheet_can_print_still_stop_it_and_are_named(
    app, story, without_worker
):
    with story.database.transaction() as session:
        session.scalars(select(Problem)).one().words = "Sore on the left \U0001f434"
    vet = browser_of(app, story, "vet")
    address = order_letter(vet, kind="referral").location
    without_worker.run_waiting()
    page = vet.get(address).text
    assert "it could not be made" in page
    assert "U+1F434" in page
    assert "Sore on the left" in page


def test_a_sheet_rendered_twice_is_one_sheet(app, story, without_worker):
    vet = browser_of(app, story, "vet")
    order_letter(vet, kind="referral")
    handler = without_worker.handlers[RENDER_SHEET]
    with story.database.reading() as session:
        payload = {"proposal": str(session.scalars(select(SheetProposal.id)).one())}
    endings = [handler.prepare(payload), handler.prepare(payload)]
    made = []
    for finish in endings:
        with story.database.transaction() as session:
            finish(session)
        with story.database.reading() as session:
            made.append(session.scalars(select(SheetProposal.snapshot_sha256)).one())
    assert made[0] == made[1]
    with story.database.transaction() as session:
        handler.give_up(payload)(session)
    with story.database.reading() as session:
        assert "however often" in session.scalars(select(SheetProposal.refusal)).one()
