"""The child of ``apart``: a DICOM file on standard input, its words on standard output.

Writes the decoder's name, a line end, and the words in NumPy's own format; ends with status 1
where no decoder can read them.
"""

import io
import resource
import sys
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from referral.storage.decode.attributes import ANY_FAULT, Dataset, whole

PLUGINS = ("gdcm", "pyjpegls", "pylibjpeg", "pydicom", "pillow")
"""Tried in this order: the fastest exact one first."""

MOST_MEMORY_BYTES = 4 << 30
MOST_CPU_S = 60


def unpacked(dataset: Dataset) -> tuple[NDArray[Any], str] | None:
    """Return the words of a compressed film and the decoder, or None if none can read it."""
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
    return None


def main() -> int:
    """Unpack what stands on standard input."""
    import pydicom  # noqa: PLC0415 - heavy, loaded on first use

    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    warnings.simplefilter("ignore")
    found = unpacked(pydicom.dcmread(io.BytesIO(sys.stdin.buffer.read()), force=True))
    if found is None:
        return 1
    words, plugin = found
    sys.stdout.buffer.write(f"{plugin}\n".encode())
    np.save(sys.stdout.buffer, np.ascontiguousarray(words), allow_pickle=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
