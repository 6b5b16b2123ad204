"""Compressed pixels are unpacked in a process of their own.

The native decoders do not only raise on damaged or hostile data: some end the process they
run in. So none runs in ours; the child has a limit on its memory and its time.
"""

import io
import subprocess
import sys

import numpy as np
from numpy.typing import NDArray

from referral.errors import Invalid

LONGEST_S = 60


def unpacked_apart(data: bytes, compression: str) -> tuple[NDArray[np.generic], str]:
    """Return the words of a compressed DICOM file and the name of the decoder that read it.

    Raises
    ------
    Invalid
        If no decoder can read it, within the limits; names the compression.
    """
    command = [sys.executable, "-m", "referral.storage.decode.unpack"]
    try:
        done = subprocess.run(  # noqa: S603 - our own module, the film on its standard input
            command, input=data, capture_output=True, check=True, timeout=LONGEST_S
        )
        plugin, _, rest = done.stdout.partition(b"\n")
        return np.load(io.BytesIO(rest), allow_pickle=False), plugin.decode("ascii")
    except (subprocess.SubprocessError, OSError, ValueError, EOFError) as error:
        raise Invalid(
            f"This film's compression ({compression}) cannot be read, or its data is damaged."
        ) from error
