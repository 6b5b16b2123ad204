"""What is wrong about a file's labels (letters, preamble, its camera's turn) stops no film."""

import numpy as np
import pydicom
import pytest
from PIL import Image, PngImagePlugin
from pydicom.dataset import Dataset
from pydicom.sr import codes
from pydicom.sr._snomed_dict import mapping

from referral.errors import Invalid
from referral.storage.decode.film import describe, read_film
from referral.storage.decode.stripped import without_metadata
from tests.features.decode.files import CAT, LARGE, SMALL, film_bytes, picture_bytes

GREY = np.arange(12, dtype=np.uint16).reshape(3, 4) * 300
WITH_PICTURE = {
    f"chr{each}.dcm"
    for each in (
        "Arab", "Fren", "FrenMulti", "Germ", "Greek", "H31", "H32", "Hbrw", "I2", "Russ", "X1", "X2"
    )
}  # fmt: skip


@pytest.mark.parametrize("label", ["ISO_IR 100", "ISO IR 192", "ISO_IR 6", "no such", "GB18030"])
def test_a_name_under_the_wrong_label_stops_nothing(label):
    data = film_bytes(GREY, SpecificCharacterSet="ISO_IR 192", PatientName="Zoë^Å")
    assert data.count(b"ISO_IR 192") == 1
    film = read_film(data.replace(b"ISO_IR 192", label.encode().ljust(10)[:10]), "film.dcm")
    assert film.identity_present == ("PatientName",)
    assert film.pixels.shape == (3, 4)
    assert "Zo" not in str(describe(film))


@pytest.mark.parametrize("name", sorted(WITH_PICTURE))
def test_a_name_in_any_letters_is_read(name):
    film = read_film((SMALL.parent / "charset_files" / name).read_bytes(), name)
    assert film.size_px == (32, 32)
    assert set(film.identity_present) >= {"PatientName", "PatientID"}
    # A secondary capture of a screen is no radiograph, and that is said.
    assert any("radiograph" in each for each in film.warnings)


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("chrJapMulti.dcm", "no picture"),
        ("chrKoreanMulti.dcm", "no picture"),
        ("chrSQEncoding.dcm", "does not say what it is"),
        ("chrSQEncoding1.dcm", "does not say what it is"),
    ],
)
def test_a_file_without_a_picture_is_refused_for_that_and_not_for_its_letters(name, why):
    with pytest.raises(Invalid, match=why):
        read_film((SMALL.parent / "charset_files" / name).read_bytes(), name)


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
def test_a_plate_reads_alike_in_its_other_packing(name):
    plain, packed = (
        read_film((LARGE / f"{name}_{each}.dcm").read_bytes(), name) for each in ("UNCI", "J2KI")
    )
    assert (plain.decoder, packed.decoder) == ("pydicom", "gdcm")
    assert (plain.pixels == packed.pixels).all()
    assert plain.pixels.std() > 20


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


@pytest.mark.parametrize(
    ("concept", "view"),
    [
        ("Lateromedial", "lateromedial"),
        ("MedioLateralProjection", "lateromedial"),
        ("Dorsopalmar", "dorsopalmar"),
        ("Dorsoplantar", "dorsopalmar"),
        ("Oblique", None),
    ],
)
def test_a_view_is_known_by_either_spelling_of_its_code(concept, view):
    # Today's codes and their older ones, as pydicom keeps them out of the standard.
    today = getattr(codes.SCT, concept).value
    for spelling in (today, mapping["SCT"][today]):
        said = Dataset()
        said.CodeValue = spelling
        film = read_film(film_bytes(GREY, ViewCodeSequence=[said]), "film.dcm")
        assert film.view == view


@pytest.mark.parametrize("turn", [3, 6, 8])
def test_a_png_that_keeps_its_cameras_turn_as_text_is_turned_too(turn):
    """Some programs write EXIF into a PNG as hexadecimal text under this name."""
    exif = Image.Exif()
    exif[0x0112] = turn
    raw = b"Exif\0\0" + exif.tobytes().removeprefix(b"Exif\0\0")
    text = PngImagePlugin.PngInfo()
    text.add_text("Raw profile type exif", f"\nexif\n{len(raw):8}\n{raw.hex()}\n", zip=True)
    image = Image.new("RGB", (40, 20), "white")
    image.putpixel((5, 3), (255, 0, 0))
    whole = picture_bytes(image, pnginfo=text)
    film = read_film(whole, "a.png")
    # Where a red pixel at (5, 3) of 40 x 20 comes to lie, by the turn's definition (EXIF 2.32).
    x, y = {3: (34, 16), 6: (16, 5), 8: (3, 34)}[turn]
    assert tuple(film.pixels[y, x]) == (255, 0, 0)
    stripped = without_metadata(whole, "png", film.camera_turn)
    assert b"Raw profile" not in stripped
    assert (read_film(stripped, "a.png").pixels == film.pixels).all()
