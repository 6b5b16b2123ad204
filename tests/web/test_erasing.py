"""Erasing through the pages: what is asked, what is shown afterwards, and who may."""

import os
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import select

from referral.cases.models import Entry, ErasableValue, Erasure
from referral.core.workflow import Move
from referral.erasing.checking import check_record
from referral.films.models import Film
from referral.sheets.models import Sheet
from tests.features.erasing.marked import marks_in, rows_as_text, write_everything
from tests.web.browsing import Browser
from tests.web.signing import at, browser_of, hidden_in, story_in

WHY = "The owner asked for it"


@pytest.fixture
def story(app, tmp_path, clock):
    """A case past every move that takes words, with its films and its signed sheets."""
    story = story_in(app, tmp_path)
    write_everything(story)
    at(story, clock)
    app.extensions["referral"].work()
    settle(story)
    return story


def settle(story):
    for path in story.office.blobs.folder.glob("*/*"):
        os.utime(path, (0, 0))


def ids(story, column, *where):
    with story.database.reading() as session:
        return session.scalars(select(column).where(*where)).all()


def film_id(story):
    (found,) = ids(story, Film.id)
    return found


def erase(browser, story, what, subject_id, why=WHY):
    path = f"/cases/{story.number}/erasures/{what}/{subject_id}"
    page = browser.get(path)
    assert page.status_code == 200, page.text
    return browser.post(path, {**hidden_in(page.text, path), "why": why})


def faults(story):
    with story.database.reading() as session:
        return check_record(session, story.office.blobs).faults


def pages(story):
    """Return the addresses of every page that shows what is on the case."""
    home = f"/cases/{story.number}"
    films = [f"{home}/films/{each}" for each in ids(story, Film.id)]
    parts = ("", "/history", "/summary", "/trends", "/erasures", "/plans/new", "/resets/new")
    numbered = [f"{home}/plans/{n}" for n in (1, 2, 3)]
    return [
        "/",
        "/notices",
        *(home + part for part in parts),
        *numbered,
        f"{home}/resets/1",
        *films,
    ]


def test_what_is_erased_is_on_no_page_and_every_page_still_answers(app, story):
    vet = browser_of(app, story, "vet")
    owner = browser_of(app, story, "owner")
    shown = {path: vet.get(path) for path in pages(story)}
    assert len(set().union(*(marks_in(each.text) for each in shown.values()))) > 40
    with_words = select(ErasableValue.entry_id).distinct()
    for entry_id in ids(story, Entry.id, Entry.id.in_(with_words)):
        assert erase(vet, story, "words", entry_id).status_code == 303
    assert erase(vet, story, "film", film_id(story)).status_code == 303
    for sheet_id in ids(story, Sheet.id):
        assert erase(vet, story, "sheet", sheet_id).status_code == 303
    app.extensions["referral"].work()
    for browser in (vet, owner):
        for path in pages(story):
            answer = browser.get(path)
            assert (
                answer.status_code
                == (shown[path].status_code if browser is vet else answer.status_code)
                < 500
            )
            assert marks_in(answer.text) == set(), path
    assert marks_in(rows_as_text(story.database)) == set()
    assert list(story.office.blobs.folder.glob("*/*")) == []
    assert faults(story) == ()


def test_a_page_asks_why_and_says_what_would_go_and_what_would_stay(app, story):
    vet, film = browser_of(app, story, "vet"), film_id(story)
    home = f"/cases/{story.number}/erasures"
    assert f"{home}/film/{film}" in vet.get(home).text
    page = vet.get(f"{home}/film/{film}").text
    assert "Erase a film of LF, taken 25 Nov 2026" in page
    assert "Also printed on the signed sheet “Agreed plan”" in page
    answer = erase(vet, story, "film", film, why="")
    assert answer.status_code == 422
    assert ids(story, Erasure.id) == []


def test_an_erased_film_says_so_where_it_was_and_is_served_and_measured_no_more(app, story):
    vet, film = browser_of(app, story, "vet"), film_id(story)
    home = f"/cases/{story.number}"
    assert erase(vet, story, "film", film).status_code == 303
    page = vet.get(f"{home}/films/{film}").text
    assert "Erased on" in page
    assert "Palmar angle" in page
    for part in ("picture.jpg", "original"):
        gone = vet.get(f"{home}/films/{film}/{part}")
        assert gone.status_code == 404
        assert "This film was erased on" in gone.text
    assert vet.get(f"{home}/films/{film}/repeats").status_code == 404
    placed = vet.post(f"{home}/films/{film}/landmarks", {"landmarks": "{}"})
    assert placed.status_code == 404
    case = vet.get(home).text
    assert "Erased on" in case
    assert "erased a film of LF, taken 25 Nov 2026" in case
    assert "It rests on a film that was erased" in vet.get(f"{home}/plans/3").text


def test_an_erased_sheet_answers_by_its_code_and_to_a_copy_in_words(app, story):
    vet = browser_of(app, story, "vet")
    sheet = story.latest("agreed_plan")
    copy = story.office.blobs.get(sheet.pdf_sha256)
    home = f"/cases/{story.number}"
    assert erase(vet, story, "sheet", sheet.sheet_id).status_code == 303
    gone = vet.get(f"{home}/sheets/{sheet.sheet_id}.pdf")
    assert gone.status_code == 404
    assert "This sheet was erased on" in gone.text
    assert vet.get(f"{home}/sheets/{sheet.sheet_id}/pages/1.png").status_code == 404
    farrier = browser_of(app, story, "farrier")  # who signed it and has left the case
    assert "was erased on" in farrier.get(f"{home}/sheets/{sheet.sheet_id}.pdf").text
    assert "erased on" in farrier.get(f"{home}/handed-over").text
    anybody = Browser(app)
    code = anybody.get(f"/check/{sheet.sheet_id}")
    assert code.status_code == 200
    assert "Issued here, and erased on" in code.text
    import io

    answer = anybody.post(f"/check/{sheet.sheet_id}", {"sheet": (io.BytesIO(copy), "a.pdf")})
    assert "It was issued here, and erased here on" in answer.text
    assert "Issued here, signed, and unchanged" in answer.text


def test_a_hold_is_placed_and_lifted_on_the_page_and_nothing_goes_meanwhile(app, story):
    vet, film = browser_of(app, story, "vet"), film_id(story)
    home = f"/cases/{story.number}"
    page = vet.get(f"{home}/erasures").text
    form = hidden_in(page, f"{home}/legal-holds")
    confirm = vet.get(f"{home}/erasures/film/{film}").text
    assert vet.post(f"{home}/legal-holds", {**form, "why": "A claim"}).status_code == 303
    assert "Under legal hold since" in vet.get(f"{home}/erasures").text
    assert vet.get(f"{home}/erasures/film/{film}").status_code == 409
    late = hidden_in(confirm, f"{home}/erasures/film/{film}")
    refused = vet.post(f"{home}/erasures/film/{film}", {**late, "why": WHY})
    assert refused.status_code == 409
    assert "Nothing of this case is erased until that is lifted" in refused.text
    form = hidden_in(vet.get(f"{home}/erasures").text, f"{home}/legal-holds/end")
    assert vet.post(f"{home}/legal-holds/end", {**form, "why": "Settled"}).status_code == 303
    assert erase(vet, story, "film", film).status_code == 303
    said = vet.get(f"{home}/history").text
    assert "placed a legal hold" in said
    assert "lifted the legal hold" in said


def test_two_erasures_at_once_are_one_and_a_download_meanwhile_is_whole_or_says_so(app, story):
    sheet = story.latest("agreed_plan")
    whole = story.office.blobs.get(sheet.pdf_sha256)
    path = f"/cases/{story.number}/erasures/sheet/{sheet.sheet_id}"
    vets = [browser_of(app, story, "vet") for _ in range(2)]
    forms = [{**hidden_in(each.get(path).text, path), "why": WHY} for each in vets]
    readers = [browser_of(app, story, "owner") for _ in range(2)]
    pdf = f"/cases/{story.number}/sheets/{sheet.sheet_id}.pdf"

    def read(reader):
        found = []
        for _ in range(20):
            answer = reader.get(pdf)
            found.append((answer.status_code, answer.data))
            answer.close()
        return found

    with ThreadPoolExecutor(4) as pool:
        reading = [pool.submit(read, each) for each in readers]
        sent = [pool.submit(each.post, path, form) for each, form in zip(vets, forms, strict=True)]
        codes = sorted(each.result().status_code for each in sent)
        swept = pool.submit(app.extensions["referral"].work)
        answers = [one for each in reading for one in each.result()]
        swept.result()
    assert codes == [303, 422]
    assert {code for code, _data in answers} <= {200, 404}
    assert {data for code, data in answers if code == 200} <= {whole}
    assert len(ids(story, Erasure.id)) == 1
    assert len(ids(story, Entry.id, Entry.kind == Move.ERASE.value)) == 1
    assert faults(story) == ()
