"""Photos of what an assessment saw: each under what it shows, for the case's people alone."""

import io

import pytest
from PIL import Image
from sqlalchemy import select, update

from referral.assessments.models import AssessmentPhoto
from referral.cases.models import Entry
from referral.storage.canonical import sha256_hex
from tests.features.decode.files import CAT
from tests.features.decode.test_stripped import SECRETS, photo
from tests.web.test_assessments import assess
from tests.web.test_films import huge_png
from tests.web.yard import a_yard, plain_jpeg, words_of


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def files(*given):
    return [(io.BytesIO(data), name) for data, name in given]


def sent(yard, at, *given, who="farrier", of="distortion"):
    form = {"of": of, "photos": files(*given)}
    return yard.send(who, at, f"{at}/photos", form)


def an_assessment(yard):
    return assess(yard).removeprefix(yard.home)


def kept(yard):
    with yard.database.reading() as session:
        return session.scalars(select(AssessmentPhoto).order_by(AssessmentPhoto.id)).all()


def test_photos_stand_under_what_they_show_and_on_the_timeline(yard):
    at = an_assessment(yard)
    answer = sent(yard, at, (photo("JPEG"), "flare.jpg"), (photo("WEBP"), "toe.webp"))
    assert answer.status_code == 303, words_of(answer)
    assert sent(yard, at, (photo("PNG"), "sole.png"), of="found").status_code == 303
    page = yard.open("owner", at)
    assert page.text.count('class="film-small"') == 3
    said = words_of(page)
    assert said.index("Flares and distortion", said.index("Photos of it")) < said.rindex("Found")
    assert "Add the photos" not in said
    case = yard.open("vet")
    assert "added 2 photos of LF" in words_of(case)
    assert case.text.count(f"{at}#of") == 3
    assert case.text.count('alt="Photo: Flares and distortion, 25 Nov 2026"') == 2


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_of_place_camera_or_owner_is_kept_or_served(yard, kind):
    """Turned as its camera said (6: a quarter to the right), 160 by 80 becomes 80 by 160."""
    at = an_assessment(yard)
    whole = photo(kind, 6)
    assert sum(secret in whole for secret in SECRETS) >= 3
    assert sent(yard, at, (whole, f"foot.{kind.lower()}")).status_code == 303
    row = kept(yard)[0]
    blobs = yard.app.extensions["referral"].blobs
    original = blobs.get(row.original_sha256)
    assert [secret for secret in SECRETS if secret in original] == []
    assert dict(Image.open(io.BytesIO(original)).getexif()) == {0x0112: 6}
    served = yard.open("vet", f"/assessments/photos/{row.id}.jpg")
    assert b"Exif" not in served.data
    assert Image.open(io.BytesIO(served.data)).size == (80, 160)
    assert "sandbox" in served.headers["Content-Security-Policy"]
    assert not list(blobs.folder.rglob(sha256_hex(whole)))


def test_the_entry_names_each_photo_by_its_content(yard):
    at = an_assessment(yard)
    sent(yard, at, (plain_jpeg((60, 40)), "one.jpg"))
    row = kept(yard)[0]
    with yard.database.reading() as session:
        entry = session.scalars(select(Entry).where(Entry.kind == "photo_added")).one()
    assert entry.content["photos"] == [{"photo": str(row.id), "sha256": row.original_sha256}]
    assert entry.content["limb"] == "LF"


@pytest.mark.parametrize(
    ("given", "of", "says"),
    [
        ([], "distortion", "Choose at least one photo."),
        ([(b"", "empty.jpg")], "distortion", "empty.jpg: The file is empty"),
        ([(b"%PDF-1.7 and more", "sole.jpg")], "distortion", "sole.jpg: This is a PDF"),
        ([(CAT.read_bytes(), "film.dcm")], "distortion", "film.dcm: Photos of an assessment are"),
        ([(b"\xff\xd8\xff\xe0 cut short", "cut.jpg")], "distortion", "cut.jpg: Photos of an"),
        ([(plain_jpeg((9, 9)), f"{n}.jpg") for n in range(13)], "distortion", "At most 12"),
        ([(plain_jpeg((9, 9)), "a.jpg")], "nose", "Must be one of"),
    ],
)
def test_what_is_no_photo_is_named_and_nothing_is_kept(yard, given, of, says):
    at = an_assessment(yard)
    before = yard.rows()
    answer = (
        sent(yard, at, (plain_jpeg((9, 9)), "good.jpg"), *given, of=of) if given else sent(yard, at)
    )
    assert answer.status_code == 422
    assert says in words_of(answer)
    assert yard.rows() == before


def test_a_photo_that_cannot_be_read_is_said_and_asked_for_anew(yard):
    at = an_assessment(yard)
    assert sent(yard, at, (huge_png(), "odd.png")).status_code == 303
    page = words_of(yard.open("farrier", at))
    assert "odd.png: " in page
    assert "Take it anew." in page
    row = kept(yard)[0]
    assert yard.open("farrier", f"/assessments/photos/{row.id}.jpg").status_code == 404


def test_photos_are_for_the_people_of_the_case_and_added_by_those_who_assess(yard):
    at = an_assessment(yard)
    assert sent(yard, at, (plain_jpeg((60, 40)), "one.jpg"), who="vet").status_code == 303
    path = f"/assessments/photos/{kept(yard)[0].id}.jpg"
    for who in ("vet", "farrier", "apprentice", "owner", "coordinator"):
        assert yard.open(who, path).status_code == 200
    for who in ("other_vet", "other_farrier"):
        assert yard.open(who, path).status_code == 404
        assert yard.browser(who).post(f"{yard.home}{at}/photos", {}).status_code == 404
    assert yard.browser("owner").post(f"{yard.home}{at}/photos", {}).status_code == 403


def test_a_photo_that_waits_to_be_read_is_said_and_the_page_looks_again(yard):
    at = an_assessment(yard)
    sent(yard, at, (plain_jpeg((60, 40)), "one.jpg"))
    assert 'http-equiv="refresh"' not in yard.open("farrier", at).text
    with yard.database.transaction() as session:
        session.execute(update(AssessmentPhoto).values(picture_sha256=None))
    page = yard.open("farrier", at)
    assert "one.jpg is being read." in words_of(page)
    assert 'http-equiv="refresh"' in page.text
    assert "/assessments/photos/" not in yard.open("farrier").text
