"""Compressed pixels to words, by the first decoder that can, in a child of this process."""

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from referral.errors import Invalid
from referral.storage.decode.apart import in_a_child
from referral.storage.decode.attributes import ANY_FAULT, Dataset, whole

PLUGINS = ("gdcm", "pyjpegls", "pylibjpeg", "pydicom", "pillow")
"""Tried in this order: the fastest exact one first."""


def unpacked_apart(dataset: Dataset, compression: str) -> tuple[NDArray[np.generic], str]:
    """Return the words of a compressed DICOM film and the name of the decoder that read it.

    Raises
    ------
    Invalid
        If no decoder can read it, within the limits; names the compression.
    """
    try:
        said, words = in_a_child(lambda: _packed(dataset))
    except Invalid as error:
        raise Invalid(
            f"This film's compression ({compression}) cannot be read, or its data is damaged."
        ) from error
    return np.load(io.BytesIO(words), allow_pickle=False), str(said["decoder"])


def _packed(dataset: Dataset) -> tuple[Mapping[str, Any], bytes]:
    words, decoder = _unpacked(dataset)
    out = io.BytesIO()
    np.save(out, np.ascontiguousarray(words), allow_pickle=False)
    return {"decoder": decoder}, out.getvalue()


def _unpacked(dataset: Dataset) -> tuple[NDArray[Any], str]:
    from pydicom.pixels.decoders.base import get_decoder  # noqa: PLC0415 - heavy

    decoder = get_decoder(dataset.file_meta.TransferSyntaxUID)
    is_grey = (whole(dataset, "SamplesPerPixel") or 1) == 1
    for plugin in PLUGINS:
        if plugin not in decoder.available_plugins:
            continue
        try:
            found = decoder.as_array(dataset, decoding_plugin=plugin, raw=is_grey, index=0)[0]
        except ANY_FAULT:
            continue
        return np.asarray(found), plugin
    raise Invalid
