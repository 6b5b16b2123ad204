"""The pixel data of a DICOM film: out of whatever it is packed in, nothing applied yet."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from referral.errors import Invalid
from referral.storage.decode.attributes import ANY_FAULT, Dataset, whole
from referral.storage.decode.codestream import claimed_size
from referral.storage.decode.unpack import unpacked_apart


def words_of(dataset: Dataset) -> tuple[NDArray[Any], str]:
    """Return the film's words, (rows, columns) or (rows, columns, 3) RGB, and the decoder.

    Raises
    ------
    Invalid
        If the data is too short, damaged, or in a compression that cannot be read.
    """
    syntax = _syntax(dataset)
    is_grey = (whole(dataset, "SamplesPerPixel") or 1) == 1
    if not getattr(syntax, "is_transfer_syntax", False):
        raise Invalid(f"This film's compression ({syntax}) cannot be read.")
    if syntax.is_compressed:
        _refuse_unknown(syntax)
        _refuse_other_size(dataset)
        return unpacked_apart(dataset, str(syntax.name))
    return (_native(dataset, syntax) if is_grey else _native_colour(dataset, syntax)), "pydicom"


def _syntax(dataset: Dataset) -> Any:  # noqa: ANN401 - pydicom's UID
    from pydicom.uid import (  # noqa: PLC0415 - heavy, loaded on first use
        ExplicitVRBigEndian,
        ExplicitVRLittleEndian,
        ImplicitVRLittleEndian,
    )

    stated = getattr(getattr(dataset, "file_meta", None), "TransferSyntaxUID", None)
    if stated:
        return stated
    is_implicit, is_little = dataset.original_encoding
    if is_implicit:
        return ImplicitVRLittleEndian
    return ExplicitVRLittleEndian if is_little else ExplicitVRBigEndian


def _native(dataset: Dataset, syntax: Any) -> NDArray[Any]:  # noqa: ANN401 - pydicom's UID
    rows, columns = whole(dataset, "Rows"), whole(dataset, "Columns")
    bits = whole(dataset, "BitsAllocated")
    raw = bytes(dataset.PixelData)
    wanted = rows * columns * bits // 8
    if len(raw) < wanted:
        raise Invalid(
            f"The film is cut off: {len(raw)} of {wanted} bytes of its picture are there."
        )
    order = "<" if syntax.is_little_endian else ">"
    return np.frombuffer(raw[:wanted], f"{order}u{bits // 8}").reshape(rows, columns)


def _native_colour(dataset: Dataset, syntax: Any) -> NDArray[Any]:  # noqa: ANN401 - as above
    from pydicom.pixels.decoders.base import get_decoder  # noqa: PLC0415 - heavy, loaded on first use

    try:
        return np.asarray(get_decoder(syntax).as_array(dataset, index=0)[0])
    except ANY_FAULT as error:
        raise Invalid("The film's colour picture is cut off or damaged.") from error


def _refuse_unknown(syntax: Any) -> None:  # noqa: ANN401 - as above
    from pydicom.pixels.decoders.base import get_decoder  # noqa: PLC0415 - heavy

    try:
        is_known = get_decoder(syntax).is_available
    except ANY_FAULT:
        is_known = False
    if not is_known:
        raise Invalid(f"This film's compression ({syntax.name}) cannot be read.")


def _refuse_other_size(dataset: Dataset) -> None:
    """Refuse a stream that unpacks to another size than the header, and its limit, allow."""
    from pydicom.encaps import get_frame  # noqa: PLC0415 - heavy, loaded on first use

    try:
        frame = get_frame(dataset.PixelData, 0, number_of_frames=1)
    except ANY_FAULT as error:
        raise Invalid("The film is damaged: its compressed picture is cut off.") from error
    claimed = claimed_size(frame)
    if claimed not in (None, (whole(dataset, "Rows"), whole(dataset, "Columns"))):
        raise Invalid("The film is damaged: its picture is not of the size that the file says.")
