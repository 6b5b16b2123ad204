"""Grey levels beside another reader's: dcm2pnm of dcmtk, an independent implementation."""

import subprocess
from pathlib import Path

import data_store
import deid_data
import numpy as np
import pydicom
from PIL import Image

from referral.errors import ReferralError
from referral.storage.decode.film import read_apart, read_film
from tests.features.decode.files import CAT

LARGE = Path(data_store.__file__).parent / "data"
SMALL = Path(pydicom.__file__).parent / "data" / "test_files"
ROOTS = (SMALL, LARGE, Path(deid_data.__file__).parent / "data" / "animals")
READERS = ("dcm2pnm", "dcmj2pnm", "dcml2pnm")
"""dcmtk's, for plain films, JPEG and JPEG-LS; it has none for JPEG 2000."""

FEWEST_COMPARED = 50
JPEG_2000 = ("1.2.840.10008.1.2.4.90", "1.2.840.10008.1.2.4.91")


def films_with_a_window():
    """Return every film of the installed packages that we read as grey with the file's window."""
    found = []
    for root in ROOTS:
        for path in sorted(each for each in root.rglob("*") if each.is_file()):
            try:
                film = read_apart(path.read_bytes(), path.name)
            except ReferralError:
                continue
            if (film.described["window"] or {}).get("from") == "file":
                found.append(path)
    return found


def by_dcmtk(path, folder):
    """Return what dcmtk makes of a file with the file's first window, or None if it cannot."""
    out = folder / "grey.pgm"
    for reader in READERS:
        said = ["--no-overlays", "--write-raw-pnm", "--use-window", "1"]
        command = [reader, *said, str(path), str(out)]
        if subprocess.run(command, check=False, timeout=60, capture_output=True).returncode == 0:
            return np.asarray(Image.open(out))
    return None


def test_grey_levels_of_every_film_are_within_one_of_dcmtks(tmp_path):
    films, compared = films_with_a_window(), 0
    assert CAT in films
    for path in films:
        theirs = by_dcmtk(path, tmp_path)
        if theirs is None:
            syntax = pydicom.dcmread(path, force=True).file_meta.TransferSyntaxUID
            assert syntax in JPEG_2000, path.name
            continue
        ours = read_film(path.read_bytes(), path.name).pixels
        assert ours.shape == theirs.shape, path.name
        assert np.abs(ours.astype(int) - theirs).max() <= 1, path.name
        compared += 1
    assert compared >= FEWEST_COMPARED
