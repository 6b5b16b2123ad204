"""What cannot be read is refused in one clear sentence, before it can do harm."""

import io
from contextlib import suppress

import numpy as np
import pydicom
import pytest
from PIL import Image
from pydicom.encaps import encapsulate
from pydicom.uid import UID, DeflatedExplicitVRLittleEndian, JPEGBaseline8Bit

from referral.errors import Invalid, TooLarge
from referral.storage.decode import dicom
from referral.storage.decode.apart import LOST
from referral.storage.decode.film import read_film
from tests.features.decode.files import (
    LARGE,
    SMALL,
    film_bytes,
    one_bit_png,
    picture_bytes,
    with_orientation,
)

GREY = np.arange(12, dtype=np.uint16).reshape(3, 4)


def refused(data, why, kind=Invalid):
    with pytest.raises(kind, match=why) as caught:
        read_film(data, "a.dcm")
    assert caught.value.message.count("\n") == 0
    assert caught.value.message.endswith(".")


def repacked(syntax, packed, **said):
    """Return a film of 16 x 16 pixels of 8 bits, packed as said."""
    data = film_bytes(np.zeros((16, 16), np.uint8), PixelData=packed, **said)
    dataset = pydicom.dcmread(io.BytesIO(data))
    dataset.file_meta.TransferSyntaxUID = UID(syntax)
    dataset["PixelData"].VR = "OB"
    dataset["PixelData"].is_undefined_length = True
    out = io.BytesIO()
    dataset.save_as(out, enforce_file_format=True)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"hoof", "no film and no picture"),
        (b"DICM" + b"\0" * 200, "no film and no picture"),
        (b"%PDF-1.7 ...", "a PDF"),
        (b"PK\x03\x04 ...", "a ZIP"),
        (b"\0\0\0\x18ftypheic....", "damaged"),
        (b"\0\0\0\x18ftypavif....", "an AVIF"),
        (b"\0\0\0\x18ftypqt  ....", "a film clip"),
        (b"RIFF....WEBPVP8 ", "damaged"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 40, "damaged"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 40, "damaged"),
        (b"\0" * 128 + b"DICM", "does not say what it is"),
        (b"\0" * 128 + b"DICM" + b"hoof" * 20, "damaged|does not say"),
        (b"\x08\x00\x05\x00" + b"hoof" * 20, "damaged|does not say"),
    ],
)
def test_what_is_no_film(data, why):
    refused(data, why)


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("MR_truncated.dcm", "cut off: 8130 of 8192 bytes"),
        ("badVR.dcm", "8 or 16 bits"),
        ("no_meta.dcm", "no film and no picture"),
        ("JPEG-lossy.dcm", "compression .* cannot be read"),
        ("rtplan_truncated.dcm", "no picture"),
        ("waveform_ecg.dcm", "no picture"),
        ("reportsi.dcm", "no picture"),
    ],
)
def test_files_that_are_known_to_be_trouble(name, why):
    refused((SMALL / name).read_bytes(), why)


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("emri_small.dcm", "holds 10 frames"),
        ("color3d_jpeg_baseline.dcm", "holds 120 frames"),
        ("OT-PAL-8-face.dcm", "PALETTE COLOR"),
        ("emri_small_jpeg_2k_lossless_too_short.dcm", "damaged or cut off"),
    ],
)
def test_more_of_them(name, why):
    refused((LARGE / name).read_bytes(), why)


def test_a_photo_called_dicom_is_read_as_the_photo_it_is():
    assert read_film(with_orientation(1), "film.dcm").kind == "png"


@pytest.mark.parametrize(
    ("said", "why", "kind"),
    [
        ({"Rows": 65535, "Columns": 65535, "PixelData": b"\0" * 10}, "80 million", TooLarge),
        ({"Rows": 9000, "Columns": 9000}, "80 million", TooLarge),
        ({"Rows": 4000, "Columns": 4000, "NumberOfFrames": "6"}, "80 million", TooLarge),
        ({"Rows": 0}, "how large", Invalid),
        ({"Columns": None}, "how large", Invalid),
        ({"NumberOfFrames": "2"}, "2 frames", Invalid),
        ({"Rows": 30}, "cut off: 24 of 240 bytes", Invalid),
        ({"BitsAllocated": 32}, "8 or 16 bits", Invalid),
        ({"SOPClassUID": None}, "does not say what it is", Invalid),
        ({"PixelData": b""}, "no picture", Invalid),
        ({"SOPClassUID": UID(dicom.FOR_PROCESSING)}, "for processing", Invalid),
        ({"PhotometricInterpretation": None}, "unknown", Invalid),
        ({"PhotometricInterpretation": "RGB"}, "three samples", Invalid),
        (
            {"PhotometricInterpretation": "RGB", "SamplesPerPixel": 3, "PlanarConfiguration": 0},
            "colour picture is cut off",
            Invalid,
        ),
    ],
)
def test_headers_that_cannot_be(said, why, kind):
    refused(film_bytes(GREY, **said), why, kind)


def test_compressions_nobody_reads():
    refused(
        repacked("1.2.840.10008.1.2.4.100", encapsulate([b"\0" * 64])), "MPEG2.* cannot be read"
    )
    refused(repacked("1.2.3.4.5", encapsulate([b"\0" * 64])), "cannot be read")


def test_a_compressed_picture_that_is_damaged_or_cut_off():
    whole = picture_bytes(Image.new("L", (16, 16)), "JPEG")
    refused(repacked(JPEGBaseline8Bit, encapsulate([whole[:30]])), "cannot be read, or")
    good = repacked(JPEGBaseline8Bit, encapsulate([whole]))
    assert read_film(good, "a.dcm").size_px == (16, 16)
    refused(good[: good.index(whole) - 20], "damaged or cut off")
    refused(good[: good.index(whole) + 20], "damaged or cut off")


def test_a_stream_that_unpacks_to_another_size_is_never_unpacked():
    for image in (Image.new("L", (3000, 2000)), Image.new("L", (16, 17))):
        packed = encapsulate([picture_bytes(image, "JPEG")])
        refused(repacked(JPEGBaseline8Bit, packed), "not of the size")
    packed = encapsulate([picture_bytes(Image.new("L", (3000, 2000)), "JPEG2000", no_jp2=True)])
    refused(repacked("1.2.840.10008.1.2.4.90", packed), "not of the size")


def test_a_deflated_file_that_unpacks_to_too_much(monkeypatch):
    dataset = pydicom.dcmread(io.BytesIO(film_bytes(np.zeros((900, 900), np.uint16))))
    dataset.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian
    out = io.BytesIO()
    dataset.save_as(out, enforce_file_format=True)
    small = out.getvalue()
    assert read_film(small, "a.dcm").size_px == (900, 900)
    monkeypatch.setattr(dicom, "MOST_INFLATED_BYTES", 1_000_000)
    assert len(small) < 10_000
    refused(small, "unpacks to more", TooLarge)
    start = 144 + int.from_bytes(small[140:144], "little")
    refused(small[:start] + b"\xff" * 50, "unpacked")


def test_damage_anywhere_gives_a_film_or_a_sentence():
    # A byte changed, or the end lost, at many places of each kind of file.
    rng = np.random.default_rng(20_260_105)
    noise = Image.fromarray(rng.integers(0, 255, (24, 24), np.uint8))
    wholes = [
        film_bytes(np.asarray(noise).astype(np.uint16), ImagerPixelSpacing=["0.1", "0.2"]),
        (SMALL / "image_dfl.dcm").read_bytes(),
        picture_bytes(noise),
        picture_bytes(noise, "JPEG"),
        with_orientation(6),
        one_bit_png(30, 20),
    ]
    read = 0
    for whole in wholes:
        for _ in range(100):
            data = bytearray(whole)
            data[int(rng.integers(len(data)))] = int(rng.integers(256))
            if rng.random() < 0.3:
                del data[int(rng.integers(1, len(data))) :]
            with suppress(Invalid, TooLarge):
                read += read_film(bytes(data), "a.dcm").pixels.dtype == np.uint8
    assert 50 < read < 550


@pytest.mark.parametrize(
    "name", ["MR_small_jpeg_ls_lossless", "MR_small_RLE", "MR_small_jp2klossless"]
)
def test_damage_in_a_compressed_picture_gives_a_film_or_a_sentence(name):
    rng = np.random.default_rng(20_260_106)
    whole = (SMALL / f"{name}.dcm").read_bytes()
    for _ in range(2):
        data = bytearray(whole)
        data[int(rng.integers(len(data) - 4000, len(data)))] ^= 0x55
        with suppress(Invalid):
            assert read_film(bytes(data), "a.dcm").size_px == (64, 64)


def test_a_picture_that_ends_the_decoder_does_not_end_us():
    # No marker where one must stand: the native decoder calls abort().
    whole = bytearray((LARGE / "JPGLosslessP14SV1_1s_1f_8b.dcm").read_bytes())
    whole[whole.index(b"\xff\xd8\xff") + 2] = 0x6F
    with pytest.raises(Invalid, match="cannot be read, or its data is damaged") as caught:
        read_film(bytes(whole), "a.dcm")
    assert caught.value.__cause__.message == LOST
