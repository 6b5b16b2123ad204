"""`referral film` on real plates and pictures, and on what is neither."""

import io
import json
from importlib.resources import files

import numpy as np
import pytest
from PIL import Image

from referral.cli import main

CAT = files("deid_data") / "data" / "animals" / "cat.dcm"
PLATES = files("data_store") / "data"
KEYS = ["kind", "modality", "size_px", "view", "limb", "orientation", "decoder", "frames",
        "window", "scale", "identity_present", "warnings"]  # fmt: skip


def described(capsys, *arguments):
    assert main(["film", *map(str, arguments)]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    return json.loads(said.out), said.out


def test_a_veterinary_plate_has_no_scale_at_the_foot_and_shows_no_names(capsys, tmp_path):
    out = tmp_path / "cat.png"
    answer, text = described(capsys, CAT, "--png", out)
    assert list(answer) == KEYS
    assert (answer["kind"], answer["modality"]) == ("dicom", "DX")
    assert answer["size_px"] == [3072, 2614]
    assert answer["window"] == {"centre": 2048.0, "width": 4096.0, "from": "file"}
    # pixel spacing equal to the detector's was never corrected (DICOM PS3.3 10.7.1.3)
    assert answer["scale"]["state"] == "none"
    assert answer["scale"]["row_mm"] is None
    assert [each["row_mm"] for each in answer["scale"]["sources"]] == [0.14, 0.14]
    assert "PatientName" in answer["identity_present"]
    import pydicom

    name = str(pydicom.dcmread(CAT, stop_before_pixels=True).PatientName)
    assert name
    assert name not in text
    with Image.open(out) as picture:
        assert (picture.mode, picture.size, picture.info) == ("L", (3072, 2614), {})
        assert np.asarray(picture).std() > 10


@pytest.mark.parametrize(
    ("name", "warned"),
    [
        ("RG1_UNCR.dcm", ["The file's pixel spacing (0.000\\0.000) cannot be used."]),
        ("RG3_UNCR.dcm", []),
    ],
)
def test_plates_with_zero_or_no_spacing_have_no_scale(capsys, name, warned):
    answer, _ = described(capsys, PLATES / name)
    assert answer["modality"] == "CR"
    assert answer["scale"] == {
        "state": "none",
        "row_mm": None,
        "column_mm": None,
        "conflict": False,
        "sources": [],
    }
    assert answer["warnings"] == warned


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_picture_is_a_picture_whatever_its_name_says(capsys, tmp_path, kind):
    path = tmp_path / "film.dcm"
    Image.new("L", (40, 20), 90).save(path, kind)
    answer, _ = described(capsys, path)
    assert (answer["kind"], answer["modality"]) == (kind.lower(), None)
    assert answer["size_px"] == [40, 20]
    assert answer["scale"]["state"] == "none"


def test_what_cannot_be_read_is_refused_in_one_line(capsys, tmp_path):
    whole = io.BytesIO()
    Image.effect_noise((400, 300), 60).save(whole, "PNG")
    sentences = {
        b"": "The file is empty; choose it again.",
        b"a letter": "This is no film and no picture that is taken, whatever its name says; "
        "export it as DICOM, or as a JPEG, PNG, TIFF, WebP or HEIC picture.",
        whole.getvalue()[:2000]: "The picture is damaged or cut off; send it again.",
        bytes(128)
        + b"DICM"
        + bytes(64): "The file is no DICOM object: it does not say what it is.",
    }
    path = tmp_path / "film.dcm"
    for data, sentence in sentences.items():
        path.write_bytes(data)
        assert main(["film", str(path)]) == 2
        said = capsys.readouterr()
        assert (said.out, said.err) == ("", f"{path}: {sentence}\n")
    path.unlink()
    assert main(["film", str(path)]) == 2
    assert capsys.readouterr().err == f"{path}: there is no such file; check its name and folder.\n"


def test_a_picture_that_cannot_be_written_is_said(capsys, tmp_path):
    path = tmp_path / "film.png"
    Image.new("L", (4, 2)).save(path)
    out = tmp_path / "none" / "out.png"
    assert main(["film", str(path), "--png", str(out)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == f"{out}: the picture cannot be written there; name another file.\n"
