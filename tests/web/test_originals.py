"""Originals handed out: photos without place and owner, films to vets alone, under their names."""

import io
from urllib.parse import quote
from uuid import UUID

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import select

from referral.films.models import Film
from referral.films.originals import offered_name
from tests.features.decode.files import CAT, film_bytes, picture_bytes
from tests.features.decode.test_stripped import SECRETS, drawn, photo, telling
from tests.web.yard import a_yard, film_form, words_of

NAMES = {
    "фото копыта.jpg": "фото копыта.jpg",
    "蹄葉炎.jpg": "蹄葉炎.jpg",
    "hoof.exe": "hoof.jpg",
}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def added(yard, data, name="hoof.jpg", who="farrier", **changed):
    form = film_form(data, name, **{"view": "sole_photo", **changed})
    return yard.done(who, "/films/new", "/films", form).removeprefix(yard.home)


def download(yard, film, who="owner"):
    answer = yard.open(who, f"{film}/original")
    assert answer.status_code == 200, words_of(answer)
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert "sandbox" in answer.headers["Content-Security-Policy"]
    assert answer.headers["Content-Disposition"].startswith("attachment;")
    return answer


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_downloaded_as_it_was_coded_without_place_and_owner(yard, kind):
    film = added(yard, photo(kind), f"hoof.{kind.lower()}")
    answer = download(yard, film)
    assert answer.mimetype == f"image/{kind.lower()}"
    assert [secret for secret in SECRETS if secret in answer.data] == []
    got = Image.open(io.BytesIO(answer.data))
    assert (got.size, dict(got.getexif())) == ((160, 80), {0x0112: 6})
    page = words_of(yard.open("owner", film))
    assert "what the file says of place, camera and owner is taken out" in page


def test_what_cannot_be_stripped_is_given_as_a_copy_that_says_so(yard):
    film = added(yard, picture_bytes(drawn(), "TIFF", exif=telling(6)), "hoof.tif")
    answer = download(yard, film)
    assert "hoof%20%28copy%29.jpg" in answer.headers["Content-Disposition"]
    assert answer.data == yard.open("owner", f"{film}/picture.jpg").data
    assert [secret for secret in SECRETS if secret in answer.data] == []
    assert "this is the copy in JPEG" in words_of(yard.open("owner", film))


@pytest.mark.parametrize("sent", NAMES)
def test_it_is_offered_under_its_own_name_made_safe(yard, sent):
    film = added(yard, picture_bytes(drawn(), "JPEG"), sent)
    said = download(yard, film).headers["Content-Disposition"]
    film_id = film.rpartition("/")[2]
    # Source: RFC 6266 section 4.3, both forms of the name; kept under the id alone.
    ending = "jpg"
    assert said == (
        f"attachment; filename=\"{film_id}.{ending}\"; filename*=UTF-8''{quote(NAMES[sent], '')}"
    )


@pytest.mark.parametrize(
    ("sent", "offered"),
    [
        ("C:\\yard\\..\\hoof.jpeg", "hoof.jpg"),
        ("../../etc/passwd", "passwd.jpg"),
        ('a"b;c\r\nSet-Cookie: x=1.jpg', "a_b_c__Set-Cookie_ x=1.jpg"),
        ("....", "00000000-0000-0000-0000-000000000007.jpg"),
        ("", "00000000-0000-0000-0000-000000000007.jpg"),
        ("x" * 500 + ".jpg", "x" * 80 + ".jpg"),
    ],
)
def test_a_name_of_harm_is_offered_without_it(sent, offered):
    assert offered_name(Film(id=UUID(int=7), original_name=sent), "jpeg") == offered


def test_a_dicom_film_goes_to_the_cases_vets_alone(yard):
    film = added(yard, CAT.read_bytes(), "cat.dcm", "vet", view="lateromedial")
    assert download(yard, film, "vet").data == CAT.read_bytes()
    assert "Download the original DICOM file" in words_of(yard.open("vet", film))
    for who in ("farrier", "owner", "apprentice", "coordinator"):
        refused = yard.open(who, f"{film}/original")
        assert refused.status_code == 403
        assert "only the case" in words_of(refused)
        assert f"{film}/original" not in yard.open(who, film).text
    for who in ("other_vet", "other_farrier"):
        assert yard.open(who, f"{film}/original").status_code == 404


def described(yard):
    with yard.database.reading() as session:
        return session.scalars(select(Film)).one().described


@pytest.mark.parametrize(
    ("offset", "kept", "shown"),
    [
        ("+01:00", "2026-11-24T08:15:00+01:00", "24 Nov 2026, 08:15 UTC+01:00 (claimed)"),
        ("", "2026-11-24T08:15:00", "24 Nov 2026, 08:15, zone not said (claimed)"),
        ("noon", "2026-11-24T08:15:00", "24 Nov 2026, 08:15, zone not said (claimed)"),
    ],
)
def test_the_cameras_clock_is_a_claim_beside_the_stated_day(yard, offset, kept, shown):
    exif = telling(1)
    exif.get_ifd(0x8769)[0x9011] = offset
    film = added(yard, picture_bytes(drawn(), "JPEG", exif=exif))
    assert described(yard)["claimed_taken_at"] == kept
    page = words_of(yard.open("owner", film)).replace("&#39;", "'")
    assert f"Taken, by the camera's clock {shown}" in page
    assert "The camera's clock says 2026-11-24; the day that was stated is 2026-11-25" in page
    with yard.database.reading() as session:
        assert session.scalars(select(Film)).one().taken_on.isoformat() == "2026-11-25"


def test_a_clock_that_agrees_is_no_doubt_and_the_place_is_never_kept(yard):
    film = added(yard, picture_bytes(drawn(), "JPEG", exif=telling(1)), taken_on="2026-11-24")
    assert "camera&#39;s clock says 2026" not in yard.open("owner", film).text
    kept = str(described(yard))
    assert "GPSInfo" in kept  # that there was one, never what it said
    for place in ("51.0", "28.0", "38.0", "Ann Vale", "4711"):
        assert place not in kept


@pytest.mark.parametrize("says", ["0000:00:00 00:00:00", "2026:13:01 00:00:00", "today", ""])
def test_a_clock_that_says_no_moment_says_nothing(yard, says):
    exif = telling(1)
    exif.get_ifd(0x8769)[0x9003] = says
    film = added(yard, picture_bytes(drawn(), "JPEG", exif=exif))
    assert described(yard)["claimed_taken_at"] is None
    assert "camera&#39;s clock" not in yard.open("owner", film).text


def test_a_dicom_film_claims_no_moment(yard):
    added(yard, film_bytes(np.zeros((20, 30), np.uint16)), "a.dcm", "vet", view="lateromedial")
    assert "claimed_taken_at" not in described(yard)
