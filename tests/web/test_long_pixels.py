"""A film with pixels that are not square, through its pages: shown stretched, kept as it is."""

import io
import json
import re

import pytest
from PIL import Image
from sqlalchemy import select, update

from referral.films.models import Film, LandmarkSet
from referral.films.queries import film_of
from tests.features.decode.files import LARGE
from tests.web.yard import a_yard, film_form, plain_jpeg, words_of

NAME = "color-px.dcm"
SHOWN_RATIO = 1.6
"""256 x 120 pixels of the aspect 4\\3 that stands in the file: 256 wide, 160 high."""

PLACES = {"ground_palmar": [20.0, 110.0], "ground_dorsal": [220.0, 110.0], "toe": [180.5, 108.0]}
MARKER = [[40.0, 20.0], [40.0, 80.0]]


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


@pytest.fixture
def film(yard):
    data = (LARGE / NAME).read_bytes()
    return yard.done("vet", "/films/new", "/films", film_form(data, NAME)).removeprefix(yard.home)


def placed(**changed):
    said = {
        "landmarks": json.dumps(PLACES),
        "marker_ends": json.dumps(MARKER),
        "marker_length_mm": "80",
        "marker_plane": "sagittal",
        "natural_width": "256",
        "natural_height": "160",
    }
    return said | changed


def ratio_of(jpeg):
    width, height = Image.open(io.BytesIO(jpeg)).size
    return width / height


def test_its_picture_and_its_page_are_stretched(yard, film):
    assert ratio_of(yard.open("vet", f"{film}/picture.jpg").data) == pytest.approx(SHOWN_RATIO)
    page = yard.open("vet", film).text
    assert 'data-width="256" data-height="120"' in page
    across, down = re.search(r'data-stretch="(\S+) (\S+)"', page).groups()
    assert (float(across), float(down)) == pytest.approx((1.0, 4 / 3))
    assert "256 × 120 px, not square: shown stretched" in words_of(yard.open("vet", film))
    overlay = re.search(r'class="film-overlay" viewBox="([^"]*)"', yard.open("owner", film).text)
    assert overlay.group(1) == "0 0 256 160"


def test_a_picture_made_before_pictures_were_stretched_is_stretched_as_it_is_served(yard, film):
    earlier = plain_jpeg((256, 120))
    with yard.database.transaction() as session:
        blobs = yard.app.extensions["referral"].blobs
        session.execute(update(Film).values(picture_sha256=blobs.put(earlier)))
    assert ratio_of(yard.open("vet", f"{film}/picture.jpg").data) == pytest.approx(SHOWN_RATIO)


def test_landmarks_are_kept_in_the_originals_pixels(yard, film):
    yard.done("vet", film, f"{film}/landmarks", placed())
    with yard.database.reading() as session:
        row = session.scalars(select(LandmarkSet)).one()
        assert row.points_px == PLACES
    shown = yard.open("owner", film).text
    toe = PLACES["toe"]
    assert f'cx="{toe[0]:.1f}" cy="{toe[1] * 4 / 3:.1f}"' in shown
    assert f'y1="{MARKER[0][1] * 4 / 3:.1f}"' in shown


def test_the_marker_measures_along_the_stretched_pixels(yard, film):
    """60 rows of 4 and 80 mm long: a row is 80 / 60 mm, a column three quarters of it."""
    yard.done("vet", film, f"{film}/landmarks", placed())
    with yard.database.reading() as session:
        row = session.scalars(select(LandmarkSet)).one()
        case_id = film_of_row(session, row)
        scale = film_of(session, case_id, row.film_id).scale
    assert (scale.row_mm, scale.column_mm) == pytest.approx((80 / 60, 1.0))


def film_of_row(session, row):
    return session.get_one(Film, row.film_id).case_id


@pytest.mark.parametrize(("natural_height", "status"), [("160", 303), ("120", 422)])
def test_a_picture_that_is_not_stretched_is_another_picture(yard, film, natural_height, status):
    answer = yard.send("vet", film, f"{film}/landmarks", placed(natural_height=natural_height))
    assert answer.status_code == status


def test_a_known_length_on_a_photo_keeps_the_pixels_aspect(yard):
    data = (LARGE / NAME).read_bytes()
    form = film_form(data, NAME, view="sole_photo")
    photo = yard.done("farrier", "/films/new", "/films", form).removeprefix(yard.home)
    ends = {"scale_a": [40.0, 20.0], "scale_b": [40.0, 80.0]}
    known = {"landmarks": json.dumps(ends), "known_length_mm": "80"}
    known |= {"natural_width": "256", "natural_height": "160"}
    yard.done("farrier", photo, f"{photo}/landmarks", known)
    with yard.database.reading() as session:
        row = session.scalars(select(LandmarkSet)).one()
        scale = film_of(session, film_of_row(session, row), row.film_id).scale
    assert (scale.row_mm, scale.column_mm) == pytest.approx((80 / 60, 1.0))
