"""Read a file that somebody named on a command line, or say in one sentence why not."""

import sys
from pathlib import Path

from referral.errors import Invalid, TooLarge

STANDARD_INPUT = "-"
KIBIBYTE = 1024
MEBIBYTE = KIBIBYTE * KIBIBYTE


def read_given(name: str, largest_bytes: int) -> bytes:
    """Return the bytes of a file, or of standard input for ``-``.

    Raises
    ------
    Invalid
        If there is no such file, or it cannot be read.
    TooLarge
        If it holds more than ``largest_bytes``; the rest is not read.
    """
    try:
        if name == STANDARD_INPUT:
            data = sys.stdin.buffer.read(largest_bytes + 1)
        else:
            with Path(name).open("rb") as file:
                data = file.read(largest_bytes + 1)
    except FileNotFoundError:
        raise Invalid(f"{name}: there is no such file; check its name and folder.") from None
    except IsADirectoryError:
        raise Invalid(f"{name}: this is a folder; name one file in it.") from None
    except PermissionError:
        raise Invalid(f"{name}: you may not read this file; ask whoever owns it.") from None
    except (OSError, ValueError):
        raise Invalid(f"{name!r}: this file cannot be read; copy it to your own disk.") from None
    if len(data) > largest_bytes:
        raise TooLarge(
            f"{name}: the file is larger than the {size_words(largest_bytes)} that are taken."
        )
    return data


def size_words(size_bytes: int) -> str:
    """Return a size as it is said: whole MiB, else whole KiB."""
    if size_bytes >= MEBIBYTE:
        return f"{size_bytes // MEBIBYTE} MiB"
    return f"{size_bytes // KIBIBYTE} KiB"
