"""Films through their pages: added, measured, typed; and uploads that cannot be used."""

import dataclasses
import hashlib
import io
import json
import re
import zlib
from html import unescape
from uuid import UUID

import pytest
from PIL import Image
from sqlalchemy import select, update

from referral.app import worker_of
from referral.cases.models import CaseMember
from referral.films import views
from referral.films.models import ReadingRow, ScaleSetting, Upload
from referral.films.uploads import LONGEST_NAME
from tests.browser.sample import FOOT_PX, film_jpeg
from tests.factories import NOW, a_case
from tests.features.decode.files import CAT
from tests.web.yard import a_yard, film_form, landmarks_form, plain_jpeg, words_of

JPEG = film_jpeg((300, 240))


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def add(yard, data=JPEG, name="foot.jpg", who="vet", **changed):
    return yard.send(who, "/films/new", "/films", film_form(data, name, **changed))


def test_a_picture_is_added_measured_and_shown_with_its_readings(yard):
    film = yard.film()
    page = words_of(yard.open("vet", film))
    assert "No scale: angles and ratios only" in page
    assert "Palmar angle" not in words_of(yard.open("farrier", film))
    yard.measure(film)
    assert "a marker of known length on this film" in words_of(yard.open("vet", film))
    shown = words_of(yard.open("farrier", film))
    # The drawn foot: process 90 px above the tip over 750 px, so atan(90 / 750) = 6.8 degrees.
    assert "Palmar angle 6.8 ± " in shown
    case = words_of(yard.open("owner"))
    assert "Palmar angle 6.8 ± " in case
    assert "measured a film of LF" in case


def test_the_picture_is_served_smaller_and_cannot_run_anything(yard):
    film = yard.film()
    picture = yard.open("farrier", f"{film}/picture.jpg")
    assert picture.mimetype == "image/jpeg"
    assert max(Image.open(io.BytesIO(picture.data)).size) == 2400
    assert "sandbox" in picture.headers["Content-Security-Policy"]
    assert "no-store" in picture.headers["Cache-Control"]
    assert yard.open("other_vet", f"{film}/picture.jpg").status_code == 404


def test_a_veterinary_dicom_film_is_kept_byte_for_byte(yard):
    answer = add(yard, CAT.read_bytes(), "cat.dcm")
    assert answer.status_code == 303, words_of(answer)
    film = answer.location.removeprefix(yard.home)
    page = words_of(yard.open("vet", film))
    assert "Kind dicom" in page
    original = yard.open("vet", f"{film}/original")
    assert original.data == CAT.read_bytes()
    assert "attachment" in original.headers["Content-Disposition"]


def huge_png():
    """A PNG of a few bytes that says it is 60 000 pixels each way."""
    out = io.BytesIO()
    Image.new("1", (8, 8)).save(out, "PNG")
    data = bytearray(out.getvalue())
    data[16:24] = (60_000).to_bytes(4, "big") * 2
    data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4, "big")
    return bytes(data)


NO_FILMS = [
    ("empty", b"", "film.dcm"),
    ("a PDF called a film", b"%PDF-1.7\n%....\n" * 9, "foot.dcm"),
    ("a page called a picture", b"<html><script>alert(1)</script>", "foot.jpg"),
    ("noise", bytes(range(256)) * 40, "foot.png"),
]
UNREADABLE = [
    ("cut short", JPEG[: len(JPEG) // 2], "foot.jpg", 422),
    ("a truncated DICOM", CAT.read_bytes()[:5000], "cat.dcm", 422),
    ("huge", huge_png(), "foot.png", 413),
]


def assert_the_form_came_back(answer):
    assert answer.text.count('class="notice-title"') == 1
    assert 'id="film-fault"' in answer.text
    assert '<option value="RF" selected>' in answer.text
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(("what", "data", "name"), NO_FILMS, ids=[u[0] for u in NO_FILMS])
def test_what_is_no_film_by_its_content_gets_one_sentence_and_is_not_kept(yard, what, data, name):
    assert what
    before = yard.rows()
    answer = add(yard, data, name, limb="RF", trim="after")
    assert answer.status_code == 422
    assert_the_form_came_back(answer)
    assert yard.rows() == before


@pytest.mark.parametrize(
    ("what", "data", "name", "status"), UNREADABLE, ids=[u[0] for u in UNREADABLE]
)
def test_what_cannot_be_read_gets_one_sentence_and_only_what_was_sent_is_kept(
    yard, what, data, name, status
):
    assert what
    before = yard.rows()
    answer = add(yard, data, name, limb="RF", trim="after")
    assert answer.status_code == status
    assert_the_form_came_back(answer)
    assert yard.rows() == before | {"upload": 1, "job": 1}
    with yard.database.reading() as session:
        upload = session.scalars(select(Upload)).one()
        assert upload.original_sha256 == hashlib.sha256(data).hexdigest()
    page = words_of(yard.open("vet", f"/films/{upload.id}"))
    assert "could not be read" in page
    assert upload.refusal in page
    assert yard.open("other_vet", f"/films/{upload.id}").status_code == 404


def test_until_the_worker_has_read_a_film_its_page_says_so(make_app, database, monkeypatch):
    monkeypatch.setattr(views, "LONGEST_WAIT_S", 0.0)
    app = make_app()
    wired = app.extensions["referral"]
    app.extensions["referral"] = dataclasses.replace(wired, work=None)
    yard = a_yard(app, database)
    film = yard.film()
    page = yard.open("vet", film)
    assert "The file is being read" in words_of(page)
    assert 'http-equiv="refresh"' in page.text
    assert yard.open("vet", f"{film}/picture.jpg").status_code == 404
    assert worker_of(wired).run_waiting() == 1
    assert "No scale: angles and ratios only" in words_of(yard.open("vet", film))


def test_who_left_the_case_before_the_film_was_read_adds_none(make_app, database, monkeypatch):
    monkeypatch.setattr(views, "LONGEST_WAIT_S", 0.0)
    app = make_app()
    wired = app.extensions["referral"]
    app.extensions["referral"] = dataclasses.replace(wired, work=None)
    yard = a_yard(app, database)
    film = yard.film()
    with database.transaction() as session:
        session.execute(update(CaseMember).values(until=NOW))
    worker_of(wired).run_waiting()
    assert yard.rows()["film"] == 0
    with database.reading() as session:
        assert session.get(Upload, UUID(film.rpartition("/")[2])).refusal


def test_a_film_needs_a_file_and_a_day_that_has_come(yard):
    before = yard.rows()
    form = film_form()
    del form["film"]
    answer = yard.send("vet", "/films/new", "/films", form)
    assert answer.status_code == 422
    assert "Choose" in words_of(answer)
    answer = add(yard, taken_on="2031-01-01")
    assert answer.status_code == 422
    assert "This day has not come yet." in words_of(answer)
    assert yard.rows() == before


def test_only_the_vet_adds_films_and_everybody_on_the_case_adds_photos(yard):
    film = yard.film()
    before = yard.rows()
    farrier = yard.browser("farrier")
    assert "lateromedial" not in farrier.get(f"{yard.home}/films/new").text
    answer = add(yard, who="farrier")
    assert answer.status_code == 422
    assert "Your role adds photos only." in words_of(answer)
    assert farrier.post(f"{yard.home}{film}/landmarks", landmarks_form()).status_code == 403
    assert yard.rows() == before
    for who in ("farrier", "owner"):
        assert add(yard, who=who, view="sole_photo").status_code == 303
    assert "added a photo" in words_of(yard.open("vet"))


def test_the_same_film_sent_twice_is_one_film_and_another_under_its_key_is_refused(yard):
    vet = yard.browser("vet")
    key = {"idempotency_key": "one-form"}
    path = f"{yard.home}/films"
    first = vet.post(path, {**film_form(JPEG), **key})
    again = vet.post(path, {**film_form(JPEG), **key})
    assert first.location == again.location
    assert yard.rows()["film"] == 1
    other = vet.post(path, {**film_form(plain_jpeg((600, 480))), **key})
    assert other.status_code == 409
    assert yard.rows()["film"] == 1


def test_a_long_name_is_cut(yard):
    answer = add(yard, name="x" * 3000 + ".jpg")
    film = answer.location.removeprefix(yard.home)
    assert "x" * (LONGEST_NAME + 1) not in yard.open("vet", film).text


@pytest.mark.parametrize(
    "name", ["фото.jpg", "蹄葉炎.dcm", "\N{HORSE FACE}.png", "../../etc/hoof.jpg"]
)
def test_a_film_keeps_its_own_name_in_any_letters_and_is_stored_under_none(yard, name):
    answer = add(yard, name=name)
    film = answer.location.removeprefix(yard.home)
    assert name.rpartition("/")[2] in yard.open("vet", film).text
    stored = [each.name for each in yard.app.extensions["referral"].blobs.folder.rglob("*")]
    assert hashlib.sha256(JPEG).hexdigest() in stored
    assert not [each for each in stored if name.rpartition("/")[2] in each]


BESIDE = {**FOOT_PX, "p3_tip": [99_000, 12]}
PLACES = [
    ({"landmarks": "no JSON"}, "place it again"),
    ({"landmarks": "[1, 2]"}, "place them again"),
    ({"landmarks": json.dumps({"nose": [1, 2]})}, "this view does not have"),
    ({"landmarks": json.dumps({"p3_tip": [1]})}, "two numbers"),
    ({"landmarks": json.dumps({"p3_tip": [[1, 2], [3, 4]]})}, "one place"),
    ({"landmarks": json.dumps({"p2_condyle": [1, 2]})}, "several places"),
    ({"landmarks": json.dumps({"p3_tip": []})}, "two numbers"),
    ({"landmarks": '{"p3_tip": [NaN, 3]}'}, "two numbers"),
    ({"landmarks": '{"p3_tip": [1e999, 3]}'}, "two numbers"),
    ({"landmarks": '{"\\ud800": [1, 2]}'}, "this view does not have"),
    ({"landmarks": json.dumps({"p2_condyle": [[1, 2]] * 40})}, "at most"),
    ({"landmarks": json.dumps(BESIDE)}, "beside the film"),
    ({"landmarks": json.dumps({**FOOT_PX, "ground_dorsal": FOOT_PX["ground_palmar"]})}, "ground"),
    ({"marker_ends": "[[1, 2]]"}, "both ends"),
    ({"marker_ends": ""}, "both its ends and its true length"),
    ({"marker_ends": "[[5, 5], [5, 5]]"}, "marker"),
    ({"marker_length_mm": "-3"}, "Between 5 and 500 mm."),
    ({"marker_length_mm": "60 cm"}, "Write a number"),
    ({"natural_width": "1000", "natural_height": "1000"}, "not this film"),
]


@pytest.mark.parametrize(("typed", "said"), PLACES)
def test_places_that_mean_nothing_are_refused_and_stay_on_the_page(yard, typed, said):
    answer = add(yard)
    film = answer.location.removeprefix(yard.home)
    small = {
        name: [[x / 10, y / 10] for x, y in at]
        if isinstance(at[0], tuple)
        else [a / 10 for a in at]
        for name, at in FOOT_PX.items()
    }
    good = landmarks_form(
        landmarks=json.dumps(small), marker_ends="[[250, 90], [250, 160]]", natural_width="300",
        natural_height="240",
    )  # fmt: skip
    before = yard.rows()
    answer = yard.send("vet", film, f"{film}/landmarks", {**good, **typed})
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert yard.rows() == before
    kept = typed.get("landmarks", good["landmarks"])
    if kept.isascii() and "\\u" not in kept:
        assert kept.replace('"', "&#34;") in answer.text


def test_live_readings_answer_with_a_problem_and_keep_nothing(yard):
    film = yard.film()
    before = yard.rows()
    vet = yard.browser("vet")
    path = f"{yard.home}{film}/reading-previews"
    said = {"X-CSRF-Token": vet.token, "Accept": "application/json"}
    bodies = [
        {"landmarks": FOOT_PX},
        {"landmarks": {"nose": [1, 2]}},
        {"landmarks": 5},
        [1],
        {"x": 1},
    ]
    answers = [
        vet.client.post(path, json=body, base_url=vet.base_url, headers=said) for body in bodies
    ]
    assert [each.status_code for each in answers] == [200, 422, 422, 422, 422]
    assert answers[0].json["readings"][0]["shown"].startswith("6.8 ± ")
    assert all(each.json["detail"] for each in answers[1:])
    assert yard.rows() == before


def test_readings_are_typed_with_comma_or_point(yard):
    yard.readings(palmar_angle_deg="−1,5", heel_angle_deg="40.25")
    page = words_of(yard.open("farrier"))
    assert "Palmar angle −1.5 ± " in page


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"palmar_angle_deg": "five"}, "palmar_angle_deg"),
        ({"palmar_angle_deg": "900"}, "palmar_angle_deg"),
        ({"sole_depth_tip_mm": "1e3"}, "sole_depth_tip_mm"),
        ({"behind_centre_percent": "140"}, "behind_centre_percent"),
        ({"palmar_angle_deg": "1,234"}, "palmar_angle_deg"),
        ({"taken_on": "2031-01-01"}, "taken_on"),
        ({"taken_on": "yesterday"}, "taken_on"),
        ({"scale": "by eye"}, "scale"),
        ({"limb": "LR"}, "limb"),
    ],
)
def test_a_reading_no_foot_can_have_is_refused_and_stays_typed(yard, typed, field):
    before = yard.rows()
    said = {"limb": "LF", "taken_on": "2026-11-20", "scale": "marker", "heel_angle_deg": "41.75"}
    answer = yard.send("vet", "/readings/new", "/readings", {**said, **typed})
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert 'value="41.75"' in answer.text
    assert yard.rows() == before


def test_readings_want_at_least_one(yard):
    said = {"limb": "LF", "taken_on": "2026-11-20"}
    answer = yard.send("vet", "/readings/new", "/readings", said)
    assert answer.status_code == 422
    assert "Type at least one reading." in words_of(answer)


def test_a_film_of_another_case_is_not_found(yard, database):
    film = yard.film()
    with database.transaction() as session:
        other = f"/cases/{a_case(session, yard.cast)}"
    vet = yard.browser("vet")
    before = yard.rows()
    for path in ("", "/picture.jpg", "/original"):
        assert vet.get(f"{other}{film}{path}").status_code == 404
    assert vet.post(f"{other}{film}/landmarks", landmarks_form()).status_code == 404
    assert vet.post(f"{other}{film}/reading-previews").status_code == 404
    assert yard.rows() == before


def test_places_on_a_picture_of_other_proportions_are_refused(yard):
    film = yard.film()  # 3000 by 2400
    before = yard.rows()
    form = landmarks_form(natural_width="1200", natural_height="900")
    answer = yard.send("vet", film, f"{film}/landmarks", form)
    assert answer.status_code == 422
    assert "The picture on screen is not this film" in words_of(answer)
    assert yard.rows() == before


def test_a_copy_whose_sides_were_rounded_is_the_same_picture(yard):
    # 3600 by 4831 served as 930 by 1248: factors 3.87097 and 3.87099
    answer = add(yard, plain_jpeg((3600, 4831)))
    film = answer.location.removeprefix(yard.home)
    form = landmarks_form(natural_width="930", natural_height="1248")
    assert yard.send("vet", film, f"{film}/landmarks", form).status_code == 303


def test_a_marker_of_which_nobody_says_where_it_lay_gives_an_estimate(yard):
    """Not said is not known: the scale is an estimate of 5 %, shown and not judged."""
    film = yard.film()
    assert not re.search(r'name="marker_plane"[^>]*checked', yard.open("vet", film).text)
    form = landmarks_form()
    del form["marker_plane"]
    yard.done("vet", film, f"{film}/landmarks", form)
    page = words_of(yard.open("vet", film))
    assert "Nobody knows in which plane the marker lay, so the scale is an estimate." in page
    assert "The marker's plane is not known, so the scale is only estimated." in unescape(page)
    with yard.database.reading() as session:
        kept = session.scalars(select(ScaleSetting)).one()
        length = session.scalars(
            select(ReadingRow).where(ReadingRow.code == "breakover_distance_mm")
        ).one()
    assert (kept.given["plane"], kept.state, kept.relative_u) == ("unknown", "estimated", 0.05)
    assert length.scale_state == "estimated"
    assert length.u >= 0.05 * length.value
