"""DICOM radiographs: CR, DX and secondary captures, decoded and described.

Source: DICOM PS3.3 (attributes and their meaning), PS3.5 (transfer syntaxes).
"""

import hashlib
import io
import warnings
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from referral.core.geometry.scale import ScaleTags, scale_from_tags
from referral.errors import Invalid, TooLarge
from referral.storage.decode.attributes import (
    ANY_FAULT,
    Dataset,
    as_written,
    real,
    table,
    text,
    values,
    whole,
)
from referral.storage.decode.film import DecodedFilm, WindowUsed
from referral.storage.decode.grey import (
    Window,
    auto_window,
    counted,
    is_usable,
    looked_up,
    mask_bits,
    presented_shares,
    shares_of,
    to_eight_bits,
    windowed,
)
from referral.storage.decode.pixel_data import words_of

MOST_PIXELS = 80_000_000
MOST_INFLATED_BYTES = 4 * MOST_PIXELS
DEFLATED = b"1.2.840.10008.1.2.1.99"
META_START = 144
FOR_PROCESSING = "1.2.840.10008.5.1.4.1.1.1.1.1"
RADIOGRAPHS = ("CR", "DX", "RG", "XA", "RF")
IDENTITY = (
    "PatientName", "PatientID", "IssuerOfPatientID", "PatientBirthDate", "OtherPatientIDs",
    "OtherPatientIDsSequence", "OtherPatientNames", "PatientAddress", "PatientTelephoneNumbers",
    "PatientComments", "ResponsiblePerson", "ResponsibleOrganization",
    "BreedRegistrationSequence", "InstitutionName", "InstitutionAddress", "StationName",
    "ReferringPhysicianName", "PerformingPhysicianName", "PhysiciansOfRecord",
    "NameOfPhysiciansReadingStudy", "RequestingPhysician", "OperatorsName", "AccessionNumber",
    "StudyDescription",
)  # fmt: skip
VIEWS: Mapping[str, str] = {
    "399352003": "lateromedial",
    "399260004": "lateromedial",
    "441505008": "dorsopalmar",
    "399335002": "dorsopalmar",
    "R-10228": "lateromedial",
    "R-10224": "lateromedial",
    "R-40AA9": "dorsopalmar",
    "R-102C4": "dorsopalmar",
}
"""Codes of DICOM PS3.16 context group 7484, in today's and in the older spelling, to our views."""

TAG_FIELDS: Mapping[str, int] = {
    "pixel_spacing": 0x00280030,
    "imager_pixel_spacing": 0x00181164,
    "nominal_scanned_pixel_spacing": 0x00182010,
    "pixel_aspect_ratio": 0x00280034,
    "calibration_type": 0x00280A02,
    "distance_source_to_detector": 0x00181110,
    "distance_source_to_patient": 0x00181111,
    "magnification": 0x00181114,
}


def read_dicom(data: bytes) -> DecodedFilm:
    """Return a radiograph decoded, windowed and right way up.

    Raises
    ------
    Invalid
        If it holds no single readable grey or colour picture; says why.
    TooLarge
        If its header claims more pixels than are taken.
    """
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        dataset = _opened(data)
        tags = ScaleTags(**{name: as_written(dataset, tag) for name, tag in TAG_FIELDS.items()})
        _refuse(dataset)
        words, decoder = words_of(dataset)
        pixels, window = _pixels(dataset, words)
        identity = tuple(name for name in IDENTITY if text(dataset, name))
        modality, said = text(dataset, "Modality"), _caveats(dataset)
        view, limb, orientation = _view(dataset), _limb(dataset), _orientation(dataset)
    if heard:
        said.append("The file breaks rules of its format; it was read all the same.")
    return DecodedFilm(
        kind="dicom",
        modality=modality or None,
        size_px=(pixels.shape[1], pixels.shape[0]),
        pixels=pixels,
        view=view,
        limb=limb,
        orientation=orientation,
        decoder=decoder,
        frames=1,
        window=window,
        scale_tags=tags,
        scale=scale_from_tags(tags),
        identity_present=identity,
        warnings=tuple(said),
        sha256=hashlib.sha256(data).hexdigest(),
    )


def _opened(data: bytes) -> Dataset:
    import pydicom  # noqa: PLC0415 - heavy, loaded on first use

    _refuse_inflating(data)
    try:
        dataset = pydicom.dcmread(io.BytesIO(data), force=True)
        has_class = bool(text(dataset, "SOPClassUID"))
        has_pixels = bool(dataset.get("PixelData"))
        is_lost = bool(dataset.file_meta) and not len(dataset)
    except ANY_FAULT as error:
        raise Invalid("The file is damaged: it starts as DICOM and cannot be read.") from error
    if is_lost:
        raise Invalid("The file is damaged or cut off; export it again.")
    if not has_class:
        raise Invalid("The file is no DICOM object: it does not say what it is.")
    if not has_pixels:
        raise Invalid("The DICOM file holds no picture.")
    return dataset


def _refuse_inflating(data: bytes) -> None:
    """Refuse a deflated file that would unpack to more than any film, before it does."""
    if DEFLATED not in data[:1024]:
        return
    start = META_START + int.from_bytes(data[META_START - 4 : META_START], "little")
    unpacking = zlib.decompressobj(-zlib.MAX_WBITS)
    try:
        unpacking.decompress(data[start:], MOST_INFLATED_BYTES)
    except zlib.error as error:
        raise Invalid("The file is damaged: it cannot be unpacked.") from error
    if unpacking.unconsumed_tail:
        raise TooLarge("The file unpacks to more than any film.")


def _refuse(dataset: Dataset) -> None:
    rows, columns = whole(dataset, "Rows"), whole(dataset, "Columns")
    frames = whole(dataset, "NumberOfFrames") or 1
    if rows <= 0 or columns <= 0:
        raise Invalid("The DICOM file does not say how large its picture is.")
    if rows * columns * frames > MOST_PIXELS:
        raise TooLarge(f"The film has more than {MOST_PIXELS // 1_000_000} million pixels.")
    if frames > 1:
        raise Invalid(f"The file holds {frames} frames; export the one that is meant as one film.")
    if whole(dataset, "BitsAllocated") not in (8, 16):
        raise Invalid("Only films of 8 or 16 bits a pixel can be read.")
    if text(dataset, "SOPClassUID") == FOR_PROCESSING:
        raise Invalid(
            "This film is meant for processing, not for reading; export it for presentation."
        )


def _pixels(dataset: Dataset, words: NDArray[Any]) -> tuple[NDArray[np.uint8], WindowUsed | None]:
    kind = text(dataset, "PhotometricInterpretation")
    if kind in ("MONOCHROME1", "MONOCHROME2") and words.ndim == 2:  # noqa: PLR2004 - rows, columns
        return _grey(dataset, words, inverted=kind == "MONOCHROME1")
    if kind == "RGB" or kind.startswith("YBR"):
        if words.ndim != 3 or words.dtype.itemsize != 1:  # noqa: PLR2004 - rows, columns, samples
            raise Invalid("Colour pictures are taken with three samples of 8 bits only.")
        return np.ascontiguousarray(words, np.uint8), None
    raise Invalid(f"A picture of kind {kind or 'unknown'} is not taken as a film.")


def _grey(
    dataset: Dataset, words: NDArray[Any], *, inverted: bool
) -> tuple[NDArray[np.uint8], WindowUsed | None]:
    codes, stored = _codes(dataset, words)
    all_codes = np.arange(1 << stored)
    signed = whole(dataset, "PixelRepresentation") == 1
    rescaled = _rescaled(dataset, mask_bits(all_codes, stored, signed=signed).astype(float))
    inverted = inverted or text(dataset, "PresentationLUTShape") == "INVERSE"
    presented = table(dataset, "PresentationLUTSequence")
    lookup = table(dataset, "VOILUTSequence")
    if lookup is not None:
        shares = presented_shares(shares_of(rescaled, lookup), presented)
        return to_eight_bits(shares, inverted=inverted)[codes], None
    window = _window(dataset)
    if window is None:
        window = auto_window(rescaled, counted(codes, all_codes.size))
    shares = presented_shares(windowed(rescaled, window), presented)
    levels = to_eight_bits(shares, inverted=inverted)
    return levels[codes], WindowUsed(window.centre, window.width, window.origin)


def _codes(dataset: Dataset, words: NDArray[Any]) -> tuple[NDArray[np.uint16], int]:
    """Return the stored bits of each word, without what stands beside them, and how many."""
    allocated = whole(dataset, "BitsAllocated")
    stored = whole(dataset, "BitsStored")
    if not 1 <= stored <= allocated:
        stored = allocated
    above = whole(dataset, "HighBit") + 1 - stored
    shift = above if 0 < above <= allocated - stored else 0
    codes = np.bitwise_and(words.astype(np.uint16) >> np.uint16(shift), (1 << stored) - 1)
    return codes.astype(np.uint16), stored


def _rescaled(dataset: Dataset, stored: NDArray[np.float64]) -> NDArray[np.float64]:
    lookup = table(dataset, "ModalityLUTSequence")
    if lookup is not None:
        return looked_up(stored, lookup)
    return stored * (real(dataset, "RescaleSlope") or 1.0) + (
        real(dataset, "RescaleIntercept") or 0.0
    )


def _window(dataset: Dataset) -> Window | None:
    centre, width = real(dataset, "WindowCenter"), real(dataset, "WindowWidth")
    function = text(dataset, "VOILUTFunction") or "LINEAR"
    if centre is None or width is None or not is_usable(width, function):
        return None
    return Window(centre, width, function, "file")


def _view(dataset: Dataset) -> str | None:
    try:
        return VIEWS.get(str(dataset.ViewCodeSequence[0].CodeValue))
    except ANY_FAULT:
        return None


def _limb(dataset: Dataset) -> str | None:
    """Return LF RF LH RH, or the side alone where the file names no more."""
    side = text(dataset, "ImageLaterality") or text(dataset, "Laterality")
    part = text(dataset, "BodyPartExamined").upper()
    end = {"FORE": "F", "HIND": "H"}.get(part[:4], "")
    return f"{side}{end}" if side in ("L", "R") else None


def _orientation(dataset: Dataset) -> str | None:
    try:
        return "\\".join(str(each) for each in values(dataset.PatientOrientation)) or None
    except ANY_FAULT:
        return None


def _caveats(dataset: Dataset) -> list[str]:
    said = []
    windows = len(values(dataset.get("WindowCenter")))
    if windows > 1:
        said.append(f"The film brings {windows} windows of greys; the first is used.")
    if text(dataset, "LossyImageCompression") == "01":
        said.append("The film was compressed with loss before it came here.")
    if text(dataset, "Modality") not in RADIOGRAPHS:
        said.append("The file does not say that it is a radiograph.")
    return said
