"""Grey levels beside another reader's: dcm2pnm of dcmtk, an independent implementation."""

import subprocess
from pathlib import Path

import data_store
import deid_data
import numpy as np
import pydicom
import pytest
from PIL import Image

from referral.storage.decode.film import read_film

LARGE = Path(data_store.__file__).parent / "data"
SMALL = Path(pydicom.__file__).parent / "data" / "test_files"
FILMS = {
    "veterinary DX": Path(deid_data.__file__).parent / "data" / "animals" / "cat.dcm",
    "CR plate, inverted": LARGE / "RG1_UNCR.dcm",
    "CR plate, inverted, implicit": LARGE / "RG1_UNCI.dcm",
    "lower leg, inverted": LARGE / "RG3_UNCR.dcm",
    "lower leg, implicit": LARGE / "RG3_UNCI.dcm",
    "rescaled, inverted": SMALL / "dicomdirtests" / "77654033" / "CR1" / "6154",
    "signed": SMALL / "MR_small.dcm",
    "signed, big-endian": SMALL / "MR_small_bigendian.dcm",
}


def by_dcmtk(path, folder):
    """Return what dcm2pnm makes of a file with the file's first window."""
    out = folder / "grey.pgm"
    command = ["dcm2pnm", "--write-raw-pnm", "--use-window", "1", str(path), str(out)]
    subprocess.run(command, check=True, timeout=60)
    return np.asarray(Image.open(out))


@pytest.mark.parametrize("name", FILMS)
def test_grey_levels_are_within_one_of_dcmtks(name, tmp_path):
    ours = read_film(FILMS[name].read_bytes(), name)
    theirs = by_dcmtk(FILMS[name], tmp_path)
    assert ours.window.origin == "file"
    assert ours.pixels.shape == theirs.shape
    assert len(np.unique(theirs)) > 10
    assert np.abs(ours.pixels.astype(int) - theirs).max() <= 1
