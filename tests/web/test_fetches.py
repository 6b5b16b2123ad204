"""Who fetched a sheet, or had a copy checked: one note each, and never in anybody's way."""

import io

import pytest
from sqlalchemy import select
from sqlalchemy.exc import OperationalError

from referral.sheets import fetching
from referral.sheets.models import SheetFetch
from tests.web.browsing import Browser
from tests.web.signing import at, browser_of, story_in


@pytest.fixture
def story(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    at(story, clock)
    return story


def fetch(browser, story, sheet):
    answer = browser.get(f"/cases/{story.number}/sheets/{sheet.sheet_id}.pdf")
    data = answer.data
    answer.close()
    return answer.status_code, data


def notes(story):
    with story.database.reading() as session:
        rows = session.scalars(select(SheetFetch).order_by(SheetFetch.id)).all()
    return [(row.sheet_id, row.person_id, row.how, row.at) for row in rows]


def test_each_fetch_and_each_check_is_noted_and_told_to_vet_and_farrier(app, story):
    sheet = story.latest("agreed_plan")
    pdf = story.office.blobs.get(sheet.pdf_sha256)
    owner, vet = browser_of(app, story, "owner"), browser_of(app, story, "vet")
    assert fetch(owner, story, sheet) == (200, pdf)
    said = vet.get(f"/cases/{story.number}").text
    assert "Fetched or checked once, last on 25 Nov 2026" in said
    Browser(app).post("/check", {"sheet": (io.BytesIO(pdf), "a.pdf")}).close()
    vet.post(f"/check/{sheet.sheet_id}", {"sheet": (io.BytesIO(pdf), "a.pdf")}).close()
    assert notes(story) == [
        (sheet.sheet_id, story.cast.owner.id, "fetched", story.now),
        (sheet.sheet_id, None, "checked", story.now),
        (sheet.sheet_id, story.cast.vet.id, "checked", story.now),
    ]
    for who in ("vet", "farrier"):
        page = browser_of(app, story, who).get(f"/cases/{story.number}/history").text
        assert "Fetched or checked 3 times" in page
    assert "Fetched or checked" not in owner.get(f"/cases/{story.number}").text


def test_what_is_no_reading_of_a_sheet_is_not_noted(app, story):
    sheet = story.latest("agreed_plan")
    farrier = browser_of(app, story, "farrier")
    path = f"/cases/{story.number}/sheets/{sheet.sheet_id}.pdf"
    farrier.client.head(path, base_url=farrier.base_url).close()
    draft, _digest = story.propose_reset(story.fitted(1))
    drawn = farrier.get(f"/cases/{story.number}/sheets/{draft}.pdf")
    assert drawn.status_code == 200
    drawn.close()
    Browser(app).post("/check", {"sheet": (io.BytesIO(b"%PDF-1.7 other"), "a.pdf")}).close()
    Browser(app).get(f"/check/{sheet.sheet_id}").close()
    assert notes(story) == []


def test_a_sheet_is_given_whole_when_its_note_cannot_be_kept(app, story, monkeypatch, caplog):
    def locked(_session, _note):
        raise OperationalError("insert", {}, Exception("database is locked"))

    monkeypatch.setattr(fetching, "_keep", locked)
    sheet = story.latest("agreed_plan")
    owner = browser_of(app, story, "owner")
    assert fetch(owner, story, sheet) == (200, story.office.blobs.get(sheet.pdf_sha256))
    assert "could not be noted" in caplog.text
    assert notes(story) == []
