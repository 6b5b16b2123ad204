"""Photos: turned once, limited before decoding, eight bits, colours as they were."""

import io

import numpy as np
import pytest
from PIL import Image

from referral.errors import Invalid, TooLarge
from referral.storage.decode.film import describe, jpeg_bytes, png_bytes, read_film
from tests.features.decode.files import one_bit_png, picture_bytes, with_orientation


@pytest.mark.parametrize(
    ("turn", "size", "red"),
    [
        (1, (40, 20), (5, 3)),
        (2, (40, 20), (34, 3)),
        (3, (40, 20), (34, 16)),
        (4, (40, 20), (5, 16)),
        (5, (20, 40), (3, 5)),
        (6, (20, 40), (16, 5)),
        (7, (20, 40), (16, 34)),
        (8, (20, 40), (3, 34)),
    ],
)
def test_a_photo_is_turned_once_as_its_camera_says(turn, size, red):
    film = read_film(with_orientation(turn), "hoof.png")
    assert film.size_px == size
    rows, columns = np.nonzero(film.pixels[..., 1] == 0)
    assert (columns.tolist(), rows.tolist()) == ([red[0]], [red[1]])
    assert any("turned" in each for each in film.warnings) is (turn > 1)
    again = read_film(png_bytes(film), "hoof.png")
    assert (again.pixels == film.pixels).all()
    assert again.warnings == ()


def test_sixteen_bits_of_grey_are_scaled():
    ramp = np.linspace(0, 65535, 256).round().astype(np.uint16)[None]
    film = read_film(picture_bytes(Image.fromarray(ramp)), "plate.png")
    assert film.pixels.shape == (1, 256)
    assert len(set(film.pixels[0].tolist())) == 256
    assert (film.pixels == 255).sum() == 1


def test_a_print_shop_jpeg_keeps_its_colours():
    cmyk = Image.new("CMYK", (16, 16), (0, 255, 255, 0))
    film = read_film(picture_bytes(cmyk, "JPEG", quality=100), "hoof.jpg")
    assert np.abs(film.pixels.astype(int) - (255, 0, 0)).max() <= 3
    shown = Image.open(io.BytesIO(jpeg_bytes(film, 16)))
    assert shown.mode == "RGB"
    assert np.abs(np.asarray(shown).astype(int) - (255, 0, 0)).max() <= 6


def test_the_first_picture_of_a_phones_two_is_taken_and_said():
    first, second = Image.new("RGB", (16, 12), "red"), Image.new("RGB", (16, 12), "blue")
    two = picture_bytes(first, "MPO", save_all=True, append_images=[second])
    film = read_film(two, "hoof.jpg")
    assert (film.kind, film.frames) == ("jpeg", 2)
    assert film.pixels[5, 5].tolist() == pytest.approx([254, 0, 0], abs=2)
    assert "2 pictures" in film.warnings[0]


@pytest.mark.parametrize(("width", "height"), [(14000, 14000), (10000, 9000), (9000, 9000)])
def test_a_small_file_with_a_huge_picture_is_refused(width, height):
    bomb = one_bit_png(width, height)
    assert len(bomb) < 30_000
    with pytest.raises(TooLarge, match="60 million"):
        read_film(bomb, "hoof.png")


def test_it_is_refused_by_its_header_alone():
    bomb = one_bit_png(9000, 9000)[:60]
    with pytest.raises(TooLarge):
        read_film(bomb, "hoof.png")


@pytest.mark.parametrize(
    ("mode", "colour", "shape"),
    [("1", 1, (4, 6)), ("L", 200, (4, 6)), ("LA", (200, 255), (4, 6)), ("P", 3, (4, 6, 3)),
     ("RGBA", (1, 2, 3, 255), (4, 6, 3))],
)  # fmt: skip
def test_grey_stays_grey_and_colour_colour(mode, colour, shape):
    image = Image.new(mode, (6, 4), colour)
    film = read_film(picture_bytes(image), "hoof.png")
    assert (film.pixels.shape, film.pixels.dtype) == (shape, np.uint8)


def test_what_a_photo_tells_of_people_and_places_is_named_not_shown():
    exif = Image.Exif()
    exif[0x013B] = "A. Person"
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8769)[0xA431] = "SN-77"
    data = picture_bytes(Image.new("RGB", (20, 10)), "JPEG", exif=exif)
    film = read_film(data, "hoof.jpg")
    assert film.identity_present == ("GPSInfo", "Artist", "BodySerialNumber")
    assert b"Exif" in data
    assert b"Exif" not in jpeg_bytes(film, 20)
    assert b"eXIf" not in png_bytes(film)
    assert "Person" not in str(describe(film))


def test_a_photo_has_no_scale_of_its_own():
    film = read_film(picture_bytes(Image.new("RGB", (20, 10)), dpi=(300, 300)), "hoof.png")
    described = describe(film)
    assert described["scale"] == {
        "state": "none", "row_mm": None, "column_mm": None, "conflict": False, "sources": []
    }  # fmt: skip
    assert (described["kind"], described["modality"], described["window"]) == ("png", None, None)
    assert film.scale_tags is None


def test_a_photo_shown_smaller_keeps_its_proportions():
    film = read_film(picture_bytes(Image.new("RGB", (300, 200), "red")), "hoof.png")
    assert Image.open(io.BytesIO(jpeg_bytes(film, 150))).size == (150, 100)
    assert Image.open(io.BytesIO(jpeg_bytes(film, 4000))).size == (300, 200)
    assert film.size_px == (300, 200)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_photo_cut_off_is_refused(kind):
    noise = np.random.default_rng(7).integers(0, 255, (64, 64, 3), np.uint8)
    whole = picture_bytes(Image.fromarray(noise), kind)
    for kept in (30, len(whole) // 2, len(whole) - 100):
        with pytest.raises(Invalid, match="damaged"):
            read_film(whole[:kept], "hoof")
