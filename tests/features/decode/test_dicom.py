"""Films out of installed packages and small ones written here: what is understood of them."""

import hashlib
import io
import re

import numpy as np
import pydicom
import pytest
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.encaps import encapsulate
from pydicom.sequence import Sequence
from pydicom.uid import JPEG2000Lossless, JPEGBaseline8Bit

from referral.storage.decode.film import describe, png_bytes, read_film
from tests.features.decode.files import CAT, LARGE, SMALL, film_bytes, picture_bytes, read

GREY = np.arange(12, dtype=np.uint16).reshape(3, 4) * 300


def real(path):
    return read_film(path.read_bytes(), path.name)


def test_a_veterinary_film():
    film = real(CAT)
    described = describe(film)
    assert described["size_px"] == [3072, 2614]
    assert (described["kind"], described["modality"], described["frames"]) == ("dicom", "DX", 1)
    assert described["window"] == {"centre": 2048.0, "width": 4096.0, "from": "file"}
    # Pixel spacing equal to the detector's: nobody has corrected it.
    assert described["scale"]["state"] == "none"
    assert [each["row_mm"] for each in described["scale"]["sources"]] == [0.14, 0.14]
    assert described["warnings"] == []
    assert film.sha256 == hashlib.sha256(CAT.read_bytes()).hexdigest()


def test_identity_is_named_and_never_shown():
    described = describe(real(CAT))
    assert "PatientName" in described["identity_present"]
    dataset = pydicom.dcmread(CAT, stop_before_pixels=True)
    for name in described["identity_present"]:
        for word in re.findall(r"\w{4,}", str(dataset.get(name))):
            assert word not in str(described)


@pytest.mark.parametrize("name", ["RG1", "RG3"])
def test_a_plate_reads_alike_in_every_lossless_packing(name):
    plain, packed = real(LARGE / f"{name}_UNCR.dcm"), real(LARGE / f"{name}_J2KR.dcm")
    assert (plain.decoder, packed.decoder) == ("pydicom", "gdcm")
    assert (plain.pixels == packed.pixels).all()
    assert plain.pixels.std() > 20


@pytest.mark.parametrize(("name", "spacing"), [("RG1_UNCR", r"0.000\0.000"), ("RG3_UNCR", None)])
def test_a_plate_without_spacing_has_no_scale(name, spacing):
    film = real(LARGE / f"{name}.dcm")
    assert film.scale_tags.pixel_spacing == spacing
    assert (film.scale.state, film.scale.row_mm, film.scale.conflict) == ("none", None, False)
    assert [spacing in each for each in film.scale.warnings] == ([True] if spacing else [])


@pytest.mark.parametrize("name", ["RG1_UNCR", "RG3_UNCR"])
def test_bone_is_brighter_than_the_air_around_it(name):
    # Both are stored with black and white exchanged (MONOCHROME1).
    stored = pydicom.dcmread(LARGE / f"{name}.dcm")
    assert stored.PhotometricInterpretation == "MONOCHROME1"
    grey = real(LARGE / f"{name}.dcm").pixels.astype(float)
    raw = stored.pixel_array.astype(float)
    assert np.corrcoef(grey.ravel(), raw.ravel())[0, 1] < -0.5


@pytest.mark.parametrize("where", ["CR1/6154", "CR2/6247", "CR3/6278"])
def test_a_plate_with_detector_spacing_alone(where):
    film = real(SMALL / "dicomdirtests" / "77654033" / where)
    assert (film.modality, film.scale.state) == ("CR", "none")
    assert [each.origin for each in film.scale.sources] == ["detector spacing"]
    assert (film.window.centre, film.window.width) == (1600.0, 2800.0)


def test_one_picture_in_seven_packings():
    films = [
        real(SMALL / f"MR_small{each}.dcm")
        for each in (
            "", "_bigendian", "_expb", "_implicit", "_RLE", "_jp2klossless",
            "_jpeg_ls_lossless", "_padded",
        )
    ]  # fmt: skip
    for film in films[1:]:
        assert (film.pixels == films[0].pixels).all()
    assert {each.decoder for each in films} >= {"pydicom", "gdcm"}


def test_a_picture_of_an_odd_number_of_bytes():
    film = read(np.arange(9, dtype=np.uint8).reshape(3, 3), WindowCenter="128", WindowWidth="256")
    assert film.pixels.sum() == 36


def test_a_deflated_film():
    film = real(SMALL / "image_dfl.dcm")
    assert film.size_px == (512, 512)
    assert film.pixels.std() > 10


def test_what_the_file_says_is_described():
    view = Dataset()
    view.CodeValue, view.CodingSchemeDesignator = "399352003", "SCT"
    film = read(
        GREY,
        ViewCodeSequence=Sequence([view]),
        ImageLaterality="L",
        BodyPartExamined="FOREFOOT",
        PatientOrientation=["D", "DI"],
        PatientName="Someone^Else",
    )
    described = describe(film)
    assert described.pop("scale")["state"] == "none"
    assert described == {
        "kind": "dicom",
        "modality": "DX",
        "size_px": [4, 3],
        "view": "lateromedial",
        "limb": "LF",
        "orientation": "D\\DI",
        "decoder": "pydicom",
        "frames": 1,
        "window": {"centre": 1650.0, "width": 3300.0, "from": "auto"},
        "identity_present": ["PatientName"],
        "warnings": [],
    }


def test_the_scale_is_described_with_its_sources():
    factor = "EstimatedRadiographicMagnificationFactor"
    film = read(GREY, ImagerPixelSpacing=["0.150", "0.160"], **{factor: "1.2"})
    at_the_foot = {"row_mm": pytest.approx(0.125), "column_mm": pytest.approx(0.16 / 1.2)}
    assert describe(film)["scale"] == {
        "state": "estimated",
        **at_the_foot,
        "conflict": False,
        "sources": [
            {"from": "detector spacing", "row_mm": 0.15, "column_mm": 0.16},
            {"from": "detector spacing over the stated magnification", **at_the_foot},
        ],
    }


@pytest.mark.parametrize(
    "text", ["", r"0.000\0.000", "0.1", r"0.1\0.1\0.1", r"-0.1\-0.1", r"1e9\1e9", r"0,143\0,143"]
)
def test_spacing_that_says_nothing_is_no_error(text):
    # Written as raw bytes: the library that makes the file would refuse some of these.
    data = film_bytes(GREY, PixelSpacing=["9.12345678", "9.12345678"])
    stands = b"9.12345678\\9.12345678 "
    assert data.count(stands) == 1
    film = read_film(data.replace(stands, text.encode().ljust(len(stands))), "film.dcm")
    assert (film.scale.state, film.scale.row_mm, film.scale.aspect) == ("none", None, (1.0, 1.0))
    assert film.scale_tags.pixel_spacing == (text or None)


def test_a_leading_plus_stands_in_a_distance():
    film = read(
        GREY,
        ImagerPixelSpacing=["0.15", "0.15"],
        DistanceSourceToDetector="+1450.0",
        DistanceSourceToPatient="1305",
    )
    assert film.scale_tags.distance_source_to_detector == "+1450.0"
    assert film.scale.row_mm == pytest.approx(0.135)


def test_pixels_that_are_not_square():
    described = real(LARGE / "color-px.dcm")
    assert described.scale.aspect == (4.0, 3.0)
    assert described.pixels.shape == (120, 256, 3)


def test_a_table_of_grey_values_in_the_file_is_used():
    item = Dataset()
    item.LUTDescriptor = [4, 0, 8]
    item.LUTData = [0, 10, 200, 255]
    item["LUTDescriptor"].VR, item["LUTData"].VR = "US", "US"
    words = np.array([[0, 1, 2, 3, 9]], np.uint16)
    film = read(words, VOILUTSequence=Sequence([item]))
    assert film.pixels.tolist() == [[0, 10, 200, 255, 255]]
    assert film.window is None
    before = read(
        words, ModalityLUTSequence=Sequence([item]), WindowCenter="128", WindowWidth="256"
    )
    assert before.pixels.tolist() == [[0, 10, 200, 255, 255]]


def test_a_broken_table_is_passed_over():
    item = Dataset()
    item.LUTDescriptor = [8, 0, 8]
    item.LUTData = [0, 10, 200, 255]
    item["LUTDescriptor"].VR, item["LUTData"].VR = "US", "US"
    film = read(GREY, VOILUTSequence=Sequence([item]), WindowCenter="1650", WindowWidth="3300")
    assert film.window.origin == "file"


def test_a_film_may_be_packed_with_loss_in_eight_bits():
    image = Image.linear_gradient("L")
    packed = encapsulate([picture_bytes(image, "JPEG", quality=95)])
    data = film_bytes(
        np.zeros((256, 256), np.uint8), PixelData=packed, LossyImageCompression="01",
        WindowCenter="128", WindowWidth="256",
    )  # fmt: skip
    dataset = pydicom.dcmread(io.BytesIO(data))
    dataset.file_meta.TransferSyntaxUID = JPEGBaseline8Bit
    dataset["PixelData"].VR = "OB"
    dataset["PixelData"].is_undefined_length = True
    out = io.BytesIO()
    dataset.save_as(out, enforce_file_format=True)
    film = read_film(out.getvalue(), "film.dcm")
    assert np.abs(film.pixels.astype(int) - np.asarray(image)).max() <= 3
    assert "with loss" in film.warnings[0]
    assert film.decoder == "gdcm"
    dataset.file_meta.TransferSyntaxUID = JPEG2000Lossless
    assert dataset.file_meta.TransferSyntaxUID.is_compressed


def test_an_attribute_that_breaks_its_format_costs_only_itself():
    data = film_bytes(
        GREY, WindowCenter="1650", WindowWidth="3300", PatientID="A1", RescaleSlope="2"
    )
    for stands, instead in (
        (b"DS\x04\x001650", b"DS\x04\x001,65"),
        (b"DS\x02\x002 ", b"DS\x02\x00x "),
    ):
        assert data.count(stands) == 1
        data = data.replace(stands, instead)
    film = read_film(data, "film.dcm")
    assert film.window.origin == "auto"
    assert film.pixels.tolist() == read(GREY).pixels.tolist()
    assert film.identity_present == ("PatientID",)


def test_a_large_plate_without_window():
    words = np.zeros((600, 50), np.uint16)
    words[300:] = 4000
    film = read(words)
    assert (film.window.centre, film.window.width) == (2000.0, 4000.0)
    assert film.pixels[[0, 599], 0].tolist() == [0, 255]


def test_names_in_any_letters_stop_nothing():
    for name in ("chrJapMulti", "chrJapMultiExplicitIR6", "chrKoreanMulti"):
        dataset = pydicom.dcmread(SMALL.parent / "charset_files" / f"{name}.dcm")
        dataset.PixelData = bytes(dataset.Rows * dataset.Columns * dataset.BitsAllocated // 8)
        dataset["PixelData"].VR = "OW"
        out = io.BytesIO()
        dataset.save_as(out)
        film = read_film(out.getvalue(), f"{name}.dcm")
        assert [each.row_mm for each in film.scale.sources] == [0.15]
        assert "PatientName" in film.identity_present


def test_the_picture_shown_is_the_picture_read():
    film = real(SMALL / "MR_small.dcm")
    shown = np.asarray(Image.open(io.BytesIO(png_bytes(film))))
    assert (shown == film.pixels).all()
