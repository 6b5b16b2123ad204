"""A photo handed out: every kind without place, camera and owner, its pixels as they were coded."""

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms, PngImagePlugin

from referral.storage.decode.film import read_film
from referral.storage.decode.stripped import CannotStrip, turn_in, without_metadata
from tests.features.decode.files import picture_bytes

SECRETS = (b"Serial-4711", b"Ann Vale", b"Yard Lane", b"GPS", b"Exact place", b"2026:11:24")
KINDS = ("JPEG", "PNG", "WEBP")
XMP = (
    b'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">'
    b"Exact place Ann Vale</x:xmpmeta><?xpacket end='w'?>"
)


def drawn():
    pixels = np.random.default_rng(11).integers(0, 256, (20, 40, 3), dtype=np.uint8)
    return Image.fromarray(np.repeat(np.repeat(pixels, 4, axis=0), 4, axis=1))


def telling(turn):
    """Return EXIF with a place, a serial number, an owner, a time, and the camera's turn."""
    exif = Image.Exif()
    exif[0x0112] = turn
    exif[0x013B] = "Ann Vale"
    exif.get_ifd(0x8769).update({0x9003: "2026:11:24 08:15:00", 0xA431: "Serial-4711"})
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 38.0), 3: "W", 4: (0.0, 0.0, 5.0)})
    return exif


def photo(kind, turn=6):
    more = {"icc_profile": ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()}
    if kind == "PNG":
        more["pnginfo"] = text = PngImagePlugin.PngInfo()
        text.add_text("Comment", "Yard Lane")
        text.add_itxt("XML:com.adobe.xmp", XMP.decode(), zip=False)
    else:
        more["xmp"] = XMP
    if kind == "JPEG":
        more["comment"] = b"Yard Lane"
    return picture_bytes(drawn(), kind, exif=telling(turn), **more)


def opened(data):
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("kind", KINDS)
def test_only_the_picture_its_colours_and_its_turn_are_left(kind, turn):
    whole = photo(kind, turn)
    assert sum(secret in whole for secret in SECRETS) >= 3
    stripped = without_metadata(whole, kind.lower(), turn)
    assert [secret for secret in SECRETS if secret in stripped] == []
    assert b"xmpmeta" not in stripped
    before, after = opened(whole), opened(stripped)
    assert (np.asarray(before) == np.asarray(after)).all()
    exif = after.getexif()
    assert dict(exif) == ({0x0112: turn} if turn != 1 else {})
    assert dict(exif.get_ifd(0x8825)) == dict(exif.get_ifd(0x8769)) == {}
    assert after.info["icc_profile"] == before.info["icc_profile"]
    again = read_film(stripped, "a")
    assert (again.pixels == read_film(whole, "a").pixels).all()
    assert (again.camera_turn, again.claimed_taken_at, again.identity_present) == (turn, None, ())


def test_the_coded_picture_is_copied_byte_for_byte():
    plain = picture_bytes(drawn(), "JPEG")
    scan = plain[plain.index(b"\xff\xda") :]
    assert without_metadata(photo("JPEG"), "jpeg", 6).endswith(scan)


@pytest.mark.parametrize("more", [{"progressive": True}, {"restart_marker_blocks": 2}])
def test_scans_in_several_parts_are_copied_whole(more):
    whole = picture_bytes(drawn(), "JPEG", exif=telling(1), **more)
    stripped = without_metadata(whole, "jpeg", 1)
    assert (np.asarray(opened(whole)) == np.asarray(opened(stripped))).all()


def test_a_cmyk_picture_keeps_what_its_colours_mean():
    whole = picture_bytes(drawn().convert("CMYK"), "JPEG", exif=telling(1))
    stripped = without_metadata(whole, "jpeg", 1)
    assert b"Adobe" in stripped
    assert (np.asarray(opened(whole)) == np.asarray(opened(stripped))).all()


def test_small_pictures_inside_and_what_follows_the_end_are_left_out():
    """A thumbnail may show what was cut away; a second picture may follow the first."""
    plain = picture_bytes(drawn(), "JPEG")
    jfif = b"JFIF\0\1\1\0\0\1\0\1\2\2" + b"THUMBNAIL123"
    with_small = b"\xff\xd8\xff\xe0" + struct.pack(">H", len(jfif) + 2) + jfif + plain[20:]
    stripped = without_metadata(with_small + b"\xff\xd8SECOND", "jpeg", 1)
    assert b"THUMBNAIL" not in stripped
    assert b"SECOND" not in stripped
    assert stripped == plain
    out = io.BytesIO()
    drawn().save(out, "MPO", save_all=True, append_images=[drawn()])
    first = without_metadata(out.getvalue(), "jpeg", 1)
    assert first.count(b"\xff\xd8\xff") == 1
    assert b"MPF" not in first
    png = picture_bytes(drawn(), "PNG")
    assert without_metadata(png + b"after the end", "png", 1) == png


@pytest.mark.parametrize("kind", ["tiff", "heic", "dicom"])
def test_other_kinds_cannot_be_taken_apart(kind):
    with pytest.raises(CannotStrip):
        without_metadata(picture_bytes(drawn(), "TIFF"), kind, 1)


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_cut_off_or_built_otherwise_is_told_and_never_half_given(kind):
    whole = photo(kind)
    if kind != "WEBP":
        for length in (12, 40, len(whole) // 2, len(whole) - 3):
            with pytest.raises(CannotStrip):
                without_metadata(whole[:length], kind.lower(), 6)
    with pytest.raises(CannotStrip):
        without_metadata(whole[:2] + b"\0" * 6, kind.lower(), 6)


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("kind", KINDS)
def test_the_turn_is_read_as_pillow_reads_it(kind, turn):
    whole = photo(kind, turn)
    assert opened(whole).getexif().get(0x0112, 1) == turn
    assert turn_in(whole, kind.lower()) == turn


@pytest.mark.parametrize("kind", KINDS)
def test_a_photo_without_exif_or_with_a_broken_one_is_upright(kind):
    assert turn_in(picture_bytes(drawn(), kind), kind.lower()) == 1
    for exif in (b"Exif\0\0II*\0\xff\0\0\0", b"Exif\0\0XX", b"Exif\0\0MM\0*\0\0\0\x08\0\x01"):
        assert turn_in(picture_bytes(drawn(), kind, exif=exif), kind.lower()) == 1
    odd = Image.Exif()
    odd[0x0112] = 9
    assert turn_in(picture_bytes(drawn(), kind, exif=odd), kind.lower()) == 1


@pytest.mark.parametrize(
    ("data", "kind"), [(b"MM\0*", "tiff"), (b"\xff\xd8\xff", "jpeg"), (b"\xff\xd8\x01\x02", "jpeg")]
)
def test_what_cannot_be_taken_apart_has_no_turn(data, kind):
    with pytest.raises(CannotStrip):
        turn_in(data, kind)
