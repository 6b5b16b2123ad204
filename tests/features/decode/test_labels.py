"""What is wrong about a file's labels (letters, preamble, its camera's turn) stops no film."""

import io

import numpy as np
import pydicom
import pytest
from PIL import Image

from referral.errors import Invalid
from referral.storage.decode.film import describe, read_film
from tests.features.decode.files import CAT, LARGE, SMALL, film_bytes, picture_bytes

GREY = np.arange(12, dtype=np.uint16).reshape(3, 4) * 300
LETTERS = sorted(path.name for path in (SMALL.parent / "charset_files").glob("chr*.dcm"))


@pytest.mark.parametrize(
    "label", ["ISO_IR 100", "ISO IR 192", "ISO_IR 6", "no such set", "GB18030"]
)
def test_a_name_under_the_wrong_label_stops_nothing(label):
    data = film_bytes(GREY, SpecificCharacterSet="ISO_IR 192", PatientName="Zoë^Å")
    assert data.count(b"ISO_IR 192") == 1
    film = read_film(data.replace(b"ISO_IR 192", label.encode().ljust(10)[:10]), "film.dcm")
    assert film.identity_present == ("PatientName",)
    assert film.pixels.shape == (3, 4)
    assert "Zo" not in str(describe(film))


def test_there_are_files_in_many_letters():
    assert len(LETTERS) >= 15


@pytest.mark.parametrize("name", LETTERS)
def test_a_film_in_any_letters_is_read(name):
    dataset = pydicom.dcmread(SMALL.parent / "charset_files" / name)
    film = pydicom.dcmread(io.BytesIO(film_bytes(GREY)))
    for tag in ("SpecificCharacterSet", "PatientName"):
        if tag in dataset:
            film[tag] = dataset.get_item(tag)
    out = io.BytesIO()
    film.save_as(out)
    read = read_film(out.getvalue(), name)
    assert read.identity_present == ("PatientName",)
    assert read.pixels.shape == (3, 4)


@pytest.mark.parametrize("name", LETTERS)
def test_the_files_themselves_are_read_or_refused_in_one_sentence(name):
    data = (SMALL.parent / "charset_files" / name).read_bytes()
    has_pixels = "PixelData" in pydicom.dcmread(io.BytesIO(data), force=True)
    try:
        film = read_film(data, name)
    except Invalid as error:
        assert not has_pixels or len(data) < 10_000
        assert error.message.endswith(".")
    else:
        assert has_pixels
        assert film.identity_present


def test_a_film_without_preamble_is_told_by_its_content():
    whole = film_bytes(GREY, PatientName="Zoe")
    meta = 144 + int.from_bytes(whole[140:144], "little")
    from_meta, bare = whole[132:], whole[meta:]
    assert (read_film(from_meta, "film").pixels == read_film(whole, "film").pixels).all()
    assert (read_film(bare, "film").pixels == read_film(whole, "film").pixels).all()


def test_a_film_behind_a_preamble_that_is_another_picture_is_a_film():
    whole = film_bytes(GREY)
    disguised = b"\xff\xd8\xff\xe0" + whole[4:]
    assert read_film(disguised, "film.jpg").kind == "dicom"


@pytest.mark.parametrize("name", ["RG1", "RG3"])
def test_two_spellings_of_one_plate_read_alike(name):
    plain, packed = (
        read_film((LARGE / f"{name}_{each}.dcm").read_bytes(), name) for each in ("UNCI", "J2KI")
    )
    stored = [
        pydicom.dcmread(LARGE / f"{name}_{each}.dcm").pixel_array for each in ("UNCI", "J2KI")
    ]
    assert (plain.pixels == packed.pixels).all() == (stored[0] == stored[1]).all()
    assert np.abs(plain.pixels.astype(int) - packed.pixels).max() <= 2


def test_the_size_of_a_film_is_columns_by_rows():
    dataset = pydicom.dcmread(CAT, stop_before_pixels=True)
    film = read_film(CAT.read_bytes(), "cat.dcm")
    assert (dataset.Rows, dataset.Columns) == (2614, 3072)
    assert film.size_px == (3072, 2614)
    assert film.pixels.shape == (2614, 3072)


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_jpeg_is_turned_as_a_png_is(turn):
    # Broad marks, for a JPEG smears a single pixel: red at one corner, blue along one edge.
    drawn = np.full((48, 96, 3), 255, np.uint8)
    drawn[:16, :16] = (255, 0, 0)
    drawn[:16, 48:] = (0, 0, 255)
    exif = Image.Exif()
    exif[0x0112] = turn
    image = Image.fromarray(drawn)
    jpeg = read_film(picture_bytes(image, "JPEG", exif=exif, quality=95, subsampling=0), "a.jpg")
    png = read_film(picture_bytes(image, "PNG", exif=exif), "a.png")
    assert jpeg.size_px == png.size_px == ((96, 48) if turn <= 4 else (48, 96))
    apart = np.abs(jpeg.pixels.astype(int) - png.pixels)
    assert apart.mean() < 2
    assert (apart > 60).mean() < 0.01
