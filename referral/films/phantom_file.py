"""Stored values to a DICOM file of a digital radiograph, as a machine would write it.

Source: DICOM PS3.3 sections A.26 (DX), C.8.11, C.7.6.1.1.1 (orientation of quadrupeds).
"""

import hashlib
import io
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

DX_FOR_PRESENTATION = "1.2.840.10008.5.1.4.1.1.1.1"
OUR_UID_ROOT = "2.25"
"""UIDs made of a 128-bit number. Source: DICOM PS3.5 section B.2."""

LATEROMEDIAL = ("399352003", "SCT", "Lateromedial")
"""Source: DICOM PS3.16, context group 7484."""


@dataclass(frozen=True, slots=True)
class Exposed:
    """A film's stored values and what the machine knows of it."""

    words: NDArray[np.uint16]
    bits_stored: int
    spacing_mm: tuple[float, float]
    sid_mm: float
    magnification: float | None
    limb: str
    toe_on_left: bool
    taken_on: date
    patient_name: str


def dicom_bytes(exposed: Exposed) -> bytes:
    """Return the film as a DICOM file."""
    from pydicom.dataset import Dataset, FileMetaDataset  # noqa: PLC0415 - heavy, loaded on first use
    from pydicom.uid import ExplicitVRLittleEndian  # noqa: PLC0415 - likewise

    dataset = Dataset()
    dataset.file_meta = FileMetaDataset()
    dataset.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    for part in (_whose(exposed), _how(exposed), _pixels(exposed)):
        for name, value in part.items():
            setattr(dataset, name, value)
    view = Dataset()
    view.CodeValue, view.CodingSchemeDesignator, view.CodeMeaning = LATEROMEDIAL
    dataset.ViewCodeSequence = [view]
    out = io.BytesIO()
    dataset.save_as(out, enforce_file_format=True)
    return out.getvalue()


def _uid(exposed: Exposed, level: str) -> str:
    seed = hashlib.sha256(level.encode() + exposed.words.tobytes()).digest()[:16]
    return f"{OUR_UID_ROOT}.{int.from_bytes(seed)}"


def _whose(exposed: Exposed) -> dict[str, object]:
    day = exposed.taken_on.strftime("%Y%m%d")
    return {
        "SpecificCharacterSet": "ISO_IR 192",
        "SOPClassUID": DX_FOR_PRESENTATION,
        "SOPInstanceUID": _uid(exposed, "film"),
        "StudyInstanceUID": _uid(exposed, "study"),
        "SeriesInstanceUID": _uid(exposed, "series"),
        "PatientName": exposed.patient_name,
        "PatientID": "",
        "PatientBirthDate": "",
        "PatientSex": "",
        "PatientSpeciesDescription": "Equus caballus",
        "PatientBreedDescription": "",
        "ResponsiblePerson": "",
        "StudyDate": day,
        "StudyTime": "",
        "ContentDate": day,
        "ContentTime": "120000",
        "AcquisitionDate": day,
        "StudyID": "",
        "AccessionNumber": "",
        "ReferringPhysicianName": "",
        "SeriesNumber": 1,
        "InstanceNumber": 1,
    }


def _how(exposed: Exposed) -> dict[str, object]:
    row, column = exposed.spacing_mm
    palmar = "PA" if exposed.limb[1] == "F" else "PL"
    return {
        "Modality": "DX",
        "PresentationIntentType": "FOR PRESENTATION",
        "Manufacturer": "drawn, not taken",
        "ImageType": ["DERIVED", "PRIMARY"],
        "DerivationDescription": "Drawn by a program from given dimensions",
        "AnatomicalOrientationType": "QUADRUPED",
        "PatientOrientation": [palmar if exposed.toe_on_left else "D", "DI"],
        "BodyPartExamined": "FOREFOOT" if exposed.limb[1] == "F" else "HINDFOOT",
        "ImageLaterality": exposed.limb[0],
        "ImagerPixelSpacing": [f"{row:.6g}", f"{column:.6g}"],
        "DistanceSourceToDetector": f"{exposed.sid_mm:.6g}",
        "EstimatedRadiographicMagnificationFactor": None
        if exposed.magnification is None
        else f"{exposed.magnification:.6g}",
        "BurnedInAnnotation": "NO",
        "LossyImageCompression": "00",
    }


def _pixels(exposed: Exposed) -> dict[str, object]:
    height, width = exposed.words.shape
    half = 1 << (exposed.bits_stored - 1)
    return {
        "SamplesPerPixel": 1,
        "PhotometricInterpretation": "MONOCHROME2",
        "Rows": height,
        "Columns": width,
        "BitsAllocated": 16,
        "BitsStored": exposed.bits_stored,
        "HighBit": exposed.bits_stored - 1,
        "PixelRepresentation": 0,
        "PixelIntensityRelationship": "LOG",
        "PixelIntensityRelationshipSign": 1,
        "RescaleIntercept": "0",
        "RescaleSlope": "1",
        "RescaleType": "US",
        "PresentationLUTShape": "IDENTITY",
        "WindowCenter": str(half),
        "WindowWidth": str(2 * half),
        "PixelData": exposed.words.astype("<u2").tobytes(),
    }
