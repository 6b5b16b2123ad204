"""Films for the tests: small ones written here, real ones out of installed packages."""

import io
import struct
import zlib
from pathlib import Path

import data_store
import deid_data
import numpy as np
import pydicom
from PIL import Image
from pydicom.dataset import FileDataset, FileMetaDataset
from pydicom.uid import UID, ExplicitVRLittleEndian

from referral.storage.decode.film import read_film

DX = UID("1.2.840.10008.5.1.4.1.1.1.1")
LARGE = Path(data_store.__file__).parent / "data"
SMALL = Path(pydicom.__file__).parent / "data" / "test_files"
CAT = Path(deid_data.__file__).parent / "data" / "animals" / "cat.dcm"


def film_bytes(words, **said):
    """Return a DX film of these words as a file; what is said overrides, None leaves out."""
    words = np.asarray(words)
    dataset = FileDataset("film", {}, file_meta=FileMetaDataset(), preamble=b"\0" * 128)
    dataset.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    dataset.file_meta.MediaStorageSOPClassUID = DX
    dataset.file_meta.MediaStorageSOPInstanceUID = UID("2.25.1")
    bits = words.dtype.itemsize * 8
    values = {
        "SOPClassUID": DX,
        "SOPInstanceUID": UID("2.25.1"),
        "Modality": "DX",
        "Rows": words.shape[0],
        "Columns": words.shape[1],
        "SamplesPerPixel": 1,
        "PhotometricInterpretation": "MONOCHROME2",
        "BitsAllocated": bits,
        "BitsStored": bits,
        "HighBit": int(said.get("BitsStored", bits)) - 1,
        "PixelRepresentation": 0,
    }
    for name, value in (values | said).items():
        if value is not None:
            setattr(dataset, name, value)
    if "PixelData" not in said:
        raw = words.tobytes()
        dataset.PixelData = raw + b"\0" * (len(raw) % 2)
    dataset["PixelData"].VR = "OW"
    out = io.BytesIO()
    dataset.save_as(out, enforce_file_format=True)
    return out.getvalue()


def read(words, **said):
    return read_film(film_bytes(words, **said), "film.dcm")


def picture_bytes(image, kind="PNG", **said):
    out = io.BytesIO()
    image.save(out, kind, **said)
    return out.getvalue()


def with_orientation(turn):
    """Return a 40 x 20 white PNG, a red pixel at (5, 3), that says how it is to be turned."""
    image = Image.new("RGB", (40, 20), "white")
    image.putpixel((5, 3), (255, 0, 0))
    exif = Image.Exif()
    exif[0x0112] = turn
    return picture_bytes(image, exif=exif)


def one_bit_png(width, height):
    """Return a black PNG of one bit a pixel: very large, and very small as a file."""
    rows = zlib.compress((b"\0" * (1 + (width + 7) // 8)) * height, 9)
    header = struct.pack(">2I5B", width, height, 1, 0, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", rows), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )
