"""Every kind of picture that is taken, by its content, whatever its name says."""

import io
import subprocess

import numpy as np
import pytest
from PIL import Image

from referral.errors import Invalid, TooLarge
from referral.storage.decode.film import jpeg_bytes, png_bytes, read_film
from referral.storage.decode.sniff import kind_of
from tests.features.decode.files import picture_bytes, read

RED = Image.new("RGB", (40, 20), (200, 30, 30))


@pytest.mark.parametrize(
    ("kind", "said", "called"),
    [
        ("TIFF", {}, "tiff"),
        ("TIFF", {"compression": "tiff_lzw"}, "tiff"),
        ("WEBP", {"lossless": True}, "webp"),
        ("PNG", {}, "png"),
    ],
)
def test_a_picture_is_read_whatever_it_is_called(kind, said, called):
    film = read_film(picture_bytes(RED, kind, **said), "hoof.heic")
    assert (film.kind, film.size_px) == (called, (40, 20))
    assert (film.pixels == (200, 30, 30)).all()


def test_a_tiff_of_sixteen_bits_is_scaled_by_its_depth():
    ramp = np.linspace(0, 65535, 256).round().astype(np.uint16)[None]
    film = read_film(picture_bytes(Image.fromarray(ramp), "TIFF"), "plate.tif")
    assert film.pixels[0].tolist() == list(range(256))


def test_a_print_shop_tiff_keeps_its_colours():
    # Cyan nought, magenta and yellow full, black nought is red on screen and on paper.
    cmyk = Image.new("CMYK", (16, 16), (0, 255, 255, 0))
    film = read_film(picture_bytes(cmyk, "TIFF"), "hoof.tif")
    assert np.abs(film.pixels.astype(int) - (255, 0, 0)).max() <= 3


def test_of_several_pages_or_frames_the_first_is_used_and_it_is_said():
    blue = Image.new("RGB", (40, 20), (20, 20, 220))
    for kind, said in (("TIFF", {}), ("WEBP", {"lossless": True, "duration": 100}), ("PNG", {})):
        two = picture_bytes(RED, kind, save_all=True, append_images=[blue], **said)
        film = read_film(two, "two")
        assert film.frames == 2, kind
        assert (film.pixels == (200, 30, 30)).all(), kind
        assert "The file holds 2 pictures; the first is used." in film.warnings


def test_what_is_clear_is_laid_over_white():
    clear = Image.new("RGBA", (4, 4), (0, 0, 0, 0))
    assert (read_film(picture_bytes(clear), "a.png").pixels == 255).all()
    half = Image.new("LA", (4, 4), (0, 128))
    assert np.abs(read_film(picture_bytes(half), "a.png").pixels.astype(int) - 127).max() <= 1


def test_greys_without_bounds_are_refused():
    floats = Image.fromarray(np.linspace(0, 1, 64, dtype=np.float32).reshape(8, 8))
    with pytest.raises(Invalid, match="damaged"):
        read_film(picture_bytes(floats, "TIFF"), "a.tif")


@pytest.mark.parametrize("kind", ["TIFF", "WEBP"])
def test_a_picture_that_is_cut_off_is_refused(kind):
    whole = picture_bytes(Image.effect_noise((300, 200), 90).convert("RGB"), kind)
    with pytest.raises(Invalid):
        read_film(whole[: len(whole) // 2], "a")


def test_a_large_tiff_is_refused_by_its_header():
    large = Image.new("1", (9000, 9000))
    with pytest.raises(TooLarge):
        read_film(picture_bytes(large, "TIFF", compression="tiff_lzw"), "a.tif")


@pytest.mark.parametrize("brand", [b"heic", b"heix", b"mif1"])
def test_a_phones_heic_is_told_by_its_content_and_damage_in_it_is_one_sentence(brand):
    start = b"\0\0\0\x18ftyp" + brand + b"\0\0\0\0mif1heic"
    assert kind_of(start) == "heic"
    with pytest.raises(Invalid, match="damaged or is no picture"):
        read_film(start + b"\0" * 400, "IMG_1.HEIC")


def a_heic(folder, image, *more):
    """Return a real HEIC picture, made by an independent program."""
    image.save(folder / "a.png")
    made = folder / "a.heic"
    command = ["heif-enc", "-q", "95", *more, "-o", str(made), str(folder / "a.png")]
    subprocess.run(command, check=True, timeout=60, capture_output=True)
    return made.read_bytes()


def test_a_phones_heic_is_read(tmp_path):
    image = Image.new("RGB", (96, 64), (30, 160, 60))
    image.paste((220, 40, 40), (0, 0, 48, 32))
    film = read_film(a_heic(tmp_path, image), "IMG_1.HEIC")
    assert (film.kind, film.size_px, film.frames) == ("heic", (96, 64), 1)
    assert np.abs(film.pixels[10, 10].astype(int) - (220, 40, 40)).max() <= 12
    assert np.abs(film.pixels[50, 80].astype(int) - (30, 160, 60)).max() <= 12


def test_a_phones_heic_says_where_it_was_taken_and_what_is_served_does_not(tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 38.0)})
    image = Image.new("RGB", (96, 64), (30, 160, 60))
    image.save(tmp_path / "b.jpg", exif=exif)
    made = tmp_path / "b.heic"
    command = ["heif-enc", "-o", str(made), str(tmp_path / "b.jpg")]
    subprocess.run(command, check=True, timeout=60, capture_output=True)
    film = read_film(made.read_bytes(), "IMG_2.HEIC")
    assert "GPSInfo" in film.identity_present
    assert b"Exif" not in jpeg_bytes(film, 2400)


def yard_photo(kind):
    """Return a photo that says where it was taken, by whom, with what, and holds a thumbnail."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x013B] = "A Person"
    exif.get_ifd(0x8769)[0xA431] = "SERIAL-77"
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 38.0), 3: "W", 4: (0.0, 0.0, 5.0)})
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/">51,28.6333N</x:xmpmeta>'
    said = {"xmp": xmp} if kind != "PNG" else {}
    return picture_bytes(RED, kind, exif=exif, **said)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_nothing_that_is_served_says_where_a_photo_was_taken(kind):
    data = yard_photo(kind)
    film = read_film(data, "hoof")
    assert film.size_px == (20, 40)
    assert ("GPSInfo" if kind != "TIFF" else "Artist") in film.identity_present
    for served in (jpeg_bytes(film, 2400), png_bytes(film)):
        shown = Image.open(io.BytesIO(served))
        assert shown.size == (20, 40)
        assert dict(shown.getexif()) == {}
        assert dict(shown.getexif().get_ifd(0x8825)) == {}
        for word in (b"Exif", b"eXIf", b"SERIAL", b"A Person", b"xmpmeta", b"28.6333", b"iTXt"):
            assert word not in served, word


def presentation(entries, bits=8):
    from pydicom.dataset import Dataset
    from pydicom.sequence import Sequence

    item = Dataset()
    item.LUTDescriptor = [len(entries), 0, bits]
    item.add_new(0x00283006, "OW", np.array(entries, "<u2").tobytes())
    return Sequence([item])


def test_a_table_for_presentation_comes_after_the_window():
    words = np.array([[0, 1024], [2048, 4095]], np.uint16)
    said = {"BitsStored": 12, "WindowCenter": 2048, "WindowWidth": 4096}
    plain = read(words, **said).pixels
    assert plain.tolist() == [[0, 64], [128, 255]]
    # Source: DICOM PS3.3 C.11.4: the table spans the whole range of what the window gave;
    # 0, 64/255, 128/255 and 1 of 0..4 are entries 0, 1, 2 and 4
    table = presentation([255, 200, 100, 50, 0])
    shown = read(words, PresentationLUTSequence=table, **said).pixels
    assert shown.tolist() == [[255, 200], [100, 0]]


def test_of_several_windows_the_first_is_used_and_it_is_said():
    words = np.array([[0, 1024], [2048, 4095]], np.uint16)
    both = {"WindowCenter": [2048, 100], "WindowWidth": [4096, 10], "BitsStored": 12}
    film = read(words, **both)
    assert film.pixels.tolist() == [[0, 64], [128, 255]]
    assert "The film brings 2 windows of greys; the first is used." in film.warnings
