"""DICOM radiographs: CR, DX and secondary captures, decoded and described.

Source: DICOM PS3.3 (attributes and their meaning), PS3.5 (transfer syntaxes).
"""

import io
import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from referral.core.geometry.scale import ScaleTags, scale_from_tags
from referral.errors import Invalid, TooLarge
from referral.storage.decode.film import DecodedFilm, WindowUsed
from referral.storage.decode.grey import (
    Window,
    auto_window,
    is_usable,
    looked_up,
    mask_bits,
    to_eight_bits,
    windowed,
)

MOST_PIXELS = 80_000_000
BITS_ALLOCATED = (8, 16)
GREYS = ("MONOCHROME1", "MONOCHROME2")
FOR_PROCESSING = "1.2.840.10008.5.1.4.1.1.1.1.1"
PLUGINS = ("gdcm", "pylibjpeg", "pyjpegls", "pydicom", "pillow")
IDENTITY = (
    "PatientName",
    "PatientID",
    "PatientBirthDate",
    "OtherPatientIDs",
    "OtherPatientIDsSequence",
    "ResponsiblePerson",
    "ResponsibleOrganization",
    "BreedRegistrationSequence",
    "InstitutionName",
    "InstitutionAddress",
    "ReferringPhysicianName",
    "PerformingPhysicianName",
    "OperatorsName",
    "AccessionNumber",
    "StudyDescription",
    "PatientComments",
)
VIEWS: Mapping[str, str] = {
    "399352003": "lateromedial",
    "399260004": "lateromedial",
    "441505008": "dorsopalmar",
    "399335002": "dorsopalmar",
}
"""SNOMED codes of DICOM's context group 7484 (animal projections) to our views."""

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
ANY_FAULT = (AttributeError, KeyError, TypeError, ValueError, RuntimeError, OSError, EOFError,
             NotImplementedError, IndexError, OverflowError, MemoryError)  # fmt: skip
"""What the reading libraries raise on broken files; all of it becomes one sentence."""


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
        _refuse(dataset)
        words, decoder = _words(dataset)
        pixels, window = _pixels(dataset, words)
    tags = _tags(dataset, data)
    said = [*_caveats(dataset), *_notes(heard)]
    return DecodedFilm(
        kind="dicom",
        modality=_text(dataset, "Modality"),
        size_px=(pixels.shape[1], pixels.shape[0]),
        pixels=pixels,
        view=_view(dataset),
        limb=_limb(dataset),
        orientation=_orientation(dataset),
        decoder=decoder,
        frames=1,
        window=window,
        scale_tags=tags,
        scale=scale_from_tags(tags),
        identity_present=tuple(name for name in IDENTITY if _text(dataset, name)),
        warnings=tuple(said),
    )


def _opened(data: bytes) -> Any:  # noqa: ANN401 - pydicom's dataset
    import pydicom  # noqa: PLC0415 - heavy, loaded on first use
    from pydicom.errors import InvalidDicomError  # noqa: PLC0415 - likewise

    try:
        dataset = pydicom.dcmread(io.BytesIO(data), force=True)
        has_pixels = "PixelData" in dataset
        has_class = "SOPClassUID" in dataset
    except (InvalidDicomError, *ANY_FAULT) as error:
        raise Invalid("The file is damaged: it starts as DICOM and cannot be read.") from error
    if not has_class:
        raise Invalid("The file is no DICOM object: it does not say what it is.")
    if not has_pixels:
        raise Invalid("The DICOM file holds no picture.")
    return dataset


def _refuse(dataset: Any) -> None:  # noqa: ANN401 - pydicom's dataset
    rows, columns = _whole(dataset, "Rows"), _whole(dataset, "Columns")
    frames = _whole(dataset, "NumberOfFrames") or 1
    samples = _whole(dataset, "SamplesPerPixel") or 1
    if rows <= 0 or columns <= 0:
        raise Invalid("The DICOM file does not say how large its picture is.")
    if rows * columns * frames * samples > MOST_PIXELS:
        raise TooLarge(f"The film has more than {MOST_PIXELS // 1_000_000} million pixels.")
    if frames > 1:
        raise Invalid(f"The file holds {frames} frames; export the one that is meant as one film.")
    if _whole(dataset, "BitsAllocated") not in BITS_ALLOCATED:
        raise Invalid("Only films of 8 or 16 bits a pixel can be read.")
    if _text(dataset, "SOPClassUID") == FOR_PROCESSING:
        raise Invalid(
            "This film is meant for processing, not for reading; export it for presentation."
        )


def _words(dataset: Any) -> tuple[NDArray[Any], str]:  # noqa: ANN401 - pydicom's dataset
    from pydicom.pixels import get_decoder  # noqa: PLC0415 - heavy, loaded on first use
    from pydicom.uid import ImplicitVRLittleEndian  # noqa: PLC0415 - likewise

    syntax = getattr(getattr(dataset, "file_meta", None), "TransferSyntaxUID", None)
    if syntax is None:
        syntax = _guessed_syntax(dataset) or ImplicitVRLittleEndian
    if not syntax.is_compressed:
        return _native(dataset, syntax), "pydicom"
    try:
        decoder = get_decoder(syntax)
    except ANY_FAULT as error:
        raise Invalid(f"This film's compression ({syntax.name}) cannot be read.") from error
    for plugin in PLUGINS:
        if plugin not in decoder.available_plugins:
            continue
        try:
            array, _properties = decoder.as_array(
                dataset, decoding_plugin=plugin, raw=True, index=0
            )
        except ANY_FAULT:
            continue
        return np.asarray(array), plugin
    raise Invalid(
        f"This film's compression ({syntax.name}) cannot be read, or its data is damaged."
    )


def _guessed_syntax(dataset: Any) -> Any:  # noqa: ANN401 - pydicom's UID
    from pydicom.uid import (  # noqa: PLC0415 - heavy, loaded on first use
        ExplicitVRBigEndian,
        ExplicitVRLittleEndian,
        ImplicitVRLittleEndian,
    )

    is_implicit, is_little = dataset.original_encoding
    if is_implicit:
        return ImplicitVRLittleEndian
    return ExplicitVRLittleEndian if is_little else ExplicitVRBigEndian


def _native(dataset: Any, syntax: Any) -> NDArray[Any]:  # noqa: ANN401 - pydicom's own
    rows, columns = _whole(dataset, "Rows"), _whole(dataset, "Columns")
    samples = _whole(dataset, "SamplesPerPixel") or 1
    bits = _whole(dataset, "BitsAllocated")
    raw = bytes(dataset.PixelData)
    wanted = rows * columns * samples * bits // 8
    if len(raw) < wanted:
        raise Invalid(
            f"The film is cut off: {len(raw)} of {wanted} bytes of its picture are there."
        )
    order = "<" if syntax.is_little_endian else ">"
    words = np.frombuffer(raw[:wanted], f"{order}u{bits // 8}")
    if samples == 1:
        return words.reshape(rows, columns)
    if _whole(dataset, "PlanarConfiguration") == 1:
        return words.reshape(samples, rows, columns).transpose(1, 2, 0)
    return words.reshape(rows, columns, samples)


def _pixels(
    dataset: Any,  # noqa: ANN401 - pydicom's dataset
    words: NDArray[Any],
) -> tuple[NDArray[np.uint8], WindowUsed | None]:
    kind = _text(dataset, "PhotometricInterpretation")
    if kind in GREYS:
        return _grey(dataset, words, kind)
    if kind in ("RGB", "YBR_FULL", "YBR_FULL_422", "YBR_RCT", "YBR_ICT") and words.ndim == 3:  # noqa: PLR2004 - rows, columns, samples
        return _colour(dataset, words, kind), None
    raise Invalid(f"A picture of kind {kind or 'unknown'} is not taken as a film.")


def _colour(dataset: Any, words: NDArray[Any], kind: str) -> NDArray[np.uint8]:  # noqa: ANN401 - pydicom's dataset
    if _whole(dataset, "BitsAllocated") != 8:  # noqa: PLR2004 - eight bits a sample
        raise Invalid("Colour pictures are taken with 8 bits a sample only.")
    if kind.startswith("YBR"):
        from pydicom.pixels import convert_color_space  # noqa: PLC0415 - heavy

        return np.asarray(convert_color_space(words, "YBR_FULL", "RGB"), np.uint8)
    return np.ascontiguousarray(words, np.uint8)


def _grey(
    dataset: Any,  # noqa: ANN401 - pydicom's dataset
    words: NDArray[Any],
    kind: str,
) -> tuple[NDArray[np.uint8], WindowUsed | None]:
    stored = _whole(dataset, "BitsStored") or _whole(dataset, "BitsAllocated")
    signed = _whole(dataset, "PixelRepresentation") == 1
    values = mask_bits(words, stored, signed=signed)
    slope = _real(dataset, "RescaleSlope", 1.0)
    rescaled = values * (slope or 1.0) + _real(dataset, "RescaleIntercept", 0.0)
    shape = _text(dataset, "PresentationLUTShape")
    inverted = shape == "INVERSE" or (shape != "IDENTITY" and kind == "MONOCHROME1")
    table = _voi_table(dataset)
    if table is not None:
        first, entries, bits = table
        return to_eight_bits(looked_up(rescaled, first, entries, bits), inverted=inverted), None
    window = _window(dataset) or auto_window(rescaled)
    grey = to_eight_bits(windowed(rescaled, window), inverted=inverted)
    return grey, WindowUsed(window.centre, window.width, window.origin)


def _voi_table(dataset: Any) -> tuple[int, NDArray[Any], int] | None:  # noqa: ANN401 - as above
    try:
        item = dataset.VOILUTSequence[0]
        count, first, bits = (int(each) for each in item.LUTDescriptor)
        entries = np.asarray(item.LUTData)
        if entries.dtype == np.dtype("S") or isinstance(item.LUTData, bytes):
            entries = np.frombuffer(item.LUTData, "<u2")
    except ANY_FAULT:
        return None
    usable = len(entries) >= (count or 65536) and 1 <= bits <= 16  # noqa: PLR2004 - bits of an entry
    return (first, entries, bits) if usable else None


def _window(dataset: Any) -> Window | None:  # noqa: ANN401 - pydicom's dataset
    centre = _first_real(dataset, "WindowCenter")
    width = _first_real(dataset, "WindowWidth")
    function = _text(dataset, "VOILUTFunction") or "LINEAR"
    if centre is None or width is None or not is_usable(centre, width, function):
        return None
    return Window(centre, width, function, "file")


def _tags(dataset: Any, data: bytes) -> ScaleTags:  # noqa: ANN401, ARG001 - pydicom's dataset
    return ScaleTags(**{name: _raw(dataset, tag) for name, tag in TAG_FIELDS.items()})


def _raw(dataset: Any, tag: int) -> str | None:  # noqa: ANN401 - pydicom's dataset
    """Return a value as the text that stands in the file, whether or not it parses."""
    element = dataset.get_item(tag)
    if element is None:
        return None
    value = element.value
    if isinstance(value, bytes):
        return value.decode("ascii", "replace").strip(" \x00") or None
    if value is None:
        return None
    if isinstance(value, str):
        return value.strip() or None
    parts = [str(getattr(each, "original_string", each)) for each in _list(value)]
    return "\\".join(parts) or None


def _list(value: Any) -> list[Any]:  # noqa: ANN401 - one value or several
    return list(value) if hasattr(value, "__iter__") else [value]


def _view(dataset: Any) -> str | None:  # noqa: ANN401 - pydicom's dataset
    try:
        return VIEWS.get(str(dataset.ViewCodeSequence[0].CodeValue))
    except ANY_FAULT:
        return None


def _limb(dataset: Any) -> str | None:  # noqa: ANN401 - pydicom's dataset
    side = {"L": "L", "R": "R"}.get(
        _text(dataset, "ImageLaterality") or _text(dataset, "Laterality")
    )
    part = _text(dataset, "BodyPartExamined").upper()
    end = "F" if part.startswith("FORE") else "H" if part.startswith("HIND") else None
    return f"{side}{end}" if side and end else None


def _orientation(dataset: Any) -> str | None:  # noqa: ANN401 - pydicom's dataset
    try:
        return "\\".join(str(each) for each in _list(dataset.PatientOrientation)) or None
    except ANY_FAULT:
        return None


def _caveats(dataset: Any) -> list[str]:  # noqa: ANN401 - pydicom's dataset
    said = []
    if _text(dataset, "LossyImageCompression") == "01":
        said.append("The film was compressed with loss before it came here.")
    if _text(dataset, "Modality") not in ("CR", "DX", "RG", "XA", "RF"):
        said.append("The file does not say that it is a radiograph.")
    return said


def _notes(heard: list[warnings.WarningMessage]) -> list[str]:
    return ["The file breaks rules of its format; it was read all the same."] if heard else []


def _text(dataset: Any, name: str) -> str:  # noqa: ANN401 - pydicom's dataset
    try:
        value = dataset.get(name)
        return "" if value is None else str(value).strip()
    except ANY_FAULT:
        return ""


def _whole(dataset: Any, name: str) -> int:  # noqa: ANN401 - pydicom's dataset
    try:
        return int(dataset.get(name) or 0)
    except ANY_FAULT:
        return 0


def _real(dataset: Any, name: str, default: float) -> float:  # noqa: ANN401 - pydicom's dataset
    try:
        value = float(dataset.get(name))
    except ANY_FAULT:
        return default
    return value if np.isfinite(value) else default


def _first_real(dataset: Any, name: str) -> float | None:  # noqa: ANN401 - pydicom's dataset
    try:
        value = dataset.get(name)
        return None if value is None else float(_list(value)[0])
    except ANY_FAULT:
        return None
