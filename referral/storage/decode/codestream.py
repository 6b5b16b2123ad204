"""How large a compressed picture says it is, read before anything is decoded."""

import struct

JPEG_START = b"\xff\xd8"
JPEG_2000_SIZE = b"\xff\x4f\xff\x51"
FRAME_HEADERS = frozenset({*range(0xC0, 0xD0), 0xF7}) - {0xC4, 0xC8, 0xCC}
"""Markers that open a frame: ITU-T T.81 table B.1, and T.87 for JPEG-LS."""


def claimed_size(frame: bytes) -> tuple[int, int] | None:
    """Return (rows, columns) that a JPEG, JPEG-LS or JPEG 2000 stream claims, or None."""
    if frame.startswith(JPEG_START):
        return _jpeg_size(frame)
    at = frame[:4096].find(JPEG_2000_SIZE)
    if at < 0 or len(frame) < at + 24:
        return None
    right, bottom, left, top = struct.unpack_from(">4I", frame, at + 8)
    return bottom - top, right - left


def _jpeg_size(frame: bytes) -> tuple[int, int] | None:
    at = 2
    while at + 9 <= len(frame) and frame[at] == 0xFF:  # noqa: PLR2004 - every marker starts so
        marker = frame[at + 1]
        if marker in FRAME_HEADERS:
            rows, columns = struct.unpack_from(">2H", frame, at + 5)
            return rows, columns
        at += 1 if marker == 0xFF else 2 + int.from_bytes(frame[at + 2 : at + 4], "big")  # noqa: PLR2004 - fill
    return None
