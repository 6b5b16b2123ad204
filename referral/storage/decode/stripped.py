"""A photo's own file without what it says of place, camera and owner; its pixels as they are coded.

Nothing is decoded: the parts of the file that make the picture are copied, every other is left
out, and the camera's turn, which is part of the picture's meaning, is written anew. Sources: JPEG
ITU-T T.81 annex B, PNG (W3C, third edition) chapter 11, WebP RFC 9649 section 2, TIFF 6.0 for the
turn.
"""

import struct
import zlib
from collections.abc import Callable, Iterator, Mapping

SOI, EOI = b"\xff\xd8", b"\xff\xd9"
MARK, SCAN, FIRST_APPLICATION = 0xFF, 0xDA, 0xE0
JFIF, JFIF_BYTES = b"JFIF\0", 14
FRAMES_AND_TABLES = frozenset({*range(0xC0, 0xD0), *range(0xDB, 0xE0), SCAN}) - {0xC8}
WITHIN_SCAN = frozenset({0x00, *range(0xD0, 0xD8)})
KEPT_APPLICATION = {0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}
PNG_START = b"\x89PNG\r\n\x1a\n"
PNG_KEPT = frozenset(
    {b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP", b"bKGD", b"hIST", b"pHYs",
     b"sPLT", b"acTL", b"fcTL", b"fdAT"}
)  # fmt: skip
WEBP_KEPT = frozenset({b"VP8X", b"VP8 ", b"VP8L", b"ALPH", b"ANIM", b"ANMF", b"ICCP"})
WEBP_SAYS_EXIF, WEBP_SAYS_XMP = 0x08, 0x04
UPRIGHT = 1
MOST_TURN = 8
EXIF_START = b"Exif\0\0"
TURN_TAG, SHORT = 0x0112, 3


class CannotStrip(Exception):
    """The file is not built as its kind's files are, so nothing can be taken out of it."""


def without_metadata(data: bytes, kind: str, turn: int) -> bytes:
    """Return a photo's file with its picture as it is coded, its colours and its turn, no more.

    ``turn`` is the camera's, 1 to 8 as EXIF counts them.

    Raises
    ------
    CannotStrip
        If files of this kind cannot be taken apart here, or this one is not built as they are.
    """
    strip = STRIPPERS.get(kind)
    if strip is None:
        raise CannotStrip
    try:
        return strip(data, turn)
    except (IndexError, struct.error) as error:
        raise CannotStrip from error


def turn_in(data: bytes, kind: str) -> int:
    """Return a photo's turn as its camera says, 1 to 8 as EXIF counts them; 1 where it is silent.

    Raises
    ------
    CannotStrip
        If files of this kind cannot be taken apart here, or this one is not built as they are.
    """
    if kind not in EXIF_OF:
        raise CannotStrip
    try:
        said = EXIF_OF[kind](data).removeprefix(EXIF_START)
    except (IndexError, struct.error) as error:
        raise CannotStrip from error
    try:
        return _turn_said(said)
    except struct.error:
        return UPRIGHT


def _turn_said(tiff: bytes) -> int:
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return UPRIGHT
    (place,) = struct.unpack_from(f"{order}I", tiff, 4)
    (count,) = struct.unpack_from(f"{order}H", tiff, place)
    for entry in range(place + 2, place + 2 + 12 * count, 12):
        tag, kind, _count, turn = struct.unpack_from(f"{order}HHIH", tiff, entry)
        if (tag, kind) == (TURN_TAG, SHORT):
            return turn if UPRIGHT <= turn <= MOST_TURN else UPRIGHT
    return UPRIGHT


def _jpeg_exif(data: bytes) -> bytes:
    for marker, segment, _scan in _segments(data):
        if marker == FIRST_APPLICATION + 1 and segment[4:].startswith(EXIF_START):
            return segment[4:]
    return b""


def _png_exif(data: bytes) -> bytes:
    place = len(PNG_START)
    while data[place + 4 : place + 8] not in (b"IEND", b""):
        (length,) = struct.unpack_from(">I", data, place)
        if data[place + 4 : place + 8] == b"eXIf":
            return data[place + 8 : place + 8 + length]
        place += 12 + length
    return b""


def _webp_exif(data: bytes) -> bytes:
    place = 12
    while place + 8 <= len(data):
        (size,) = struct.unpack_from("<I", data, place + 4)
        if data[place : place + 4] == b"EXIF":
            return data[place + 8 : place + 8 + size]
        place += 8 + size + size % 2
    return b""


def _turn_alone(turn: int) -> bytes:
    """Return a TIFF structure that says the turn and nothing else."""
    return b"MM\0*" + struct.pack(">IHHHIHHI", 8, 1, 0x0112, 3, 1, turn, 0, 0)


def _jpeg(data: bytes, turn: int) -> bytes:
    out = [SOI]
    said = b""
    if turn != UPRIGHT:
        exif = EXIF_START + _turn_alone(turn)
        said = b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif
    for marker, segment, scan in _segments(data):
        kept = _kept_segment(marker, segment)
        if said and not kept.startswith(b"\xff\xe0"):
            out.append(said)
            said = b""
        out += [kept, scan]
    return b"".join([*out, EOI])


def _segments(data: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Yield each segment up to the first picture's end, with the coded scan that follows it."""
    place = len(SOI)
    while True:
        if data[place] != MARK:
            raise CannotStrip
        while data[place + 1] == MARK:
            place += 1
        marker = data[place + 1]
        if marker == EOI[1]:
            return
        end = place + 2 + struct.unpack_from(">H", data, place + 2)[0]
        after = _scan_end(data, end) if marker == SCAN else end
        yield marker, data[place:end], data[end:after]
        place = after


def _scan_end(data: bytes, start: int) -> int:
    place = start
    while (place := data.find(b"\xff", place)) >= 0:
        if data[place + 1] not in WITHIN_SCAN:
            return place
        place += 2
    raise CannotStrip


def _kept_segment(marker: int, segment: bytes) -> bytes:
    content = segment[4:]
    if marker in FRAMES_AND_TABLES:
        return segment
    if marker == FIRST_APPLICATION and content.startswith(JFIF):
        # a small picture may follow its twelve numbers; it says that there is none
        plain = content[: JFIF_BYTES - 2] + b"\0\0"
        return b"\xff\xe0" + struct.pack(">H", len(plain) + 2) + plain
    mark = KEPT_APPLICATION.get(marker)
    return segment if mark and content.startswith(mark) else b""


def _png(data: bytes, turn: int) -> bytes:
    out = [PNG_START]
    place = len(PNG_START)
    while True:
        (length,) = struct.unpack_from(">I", data, place)
        name, end = data[place + 4 : place + 8], place + 12 + length
        if end > len(data):
            raise CannotStrip
        is_critical = name[:1].isupper()
        if is_critical or name in PNG_KEPT:
            out.append(data[place:end])
        if name == b"IHDR" and turn != UPRIGHT:
            out.append(_png_chunk(b"eXIf", _turn_alone(turn)))
        if name == b"IEND":
            return b"".join(out)
        place = end


def _png_chunk(name: bytes, content: bytes) -> bytes:
    checked = name + content
    return struct.pack(">I", len(content)) + checked + struct.pack(">I", zlib.crc32(checked))


def _webp(data: bytes, turn: int) -> bytes:
    (length,) = struct.unpack_from("<I", data, 4)
    end, place = min(8 + length, len(data)), 12
    chunks: list[bytes] = []
    extended = -1
    while place + 8 <= end:
        name = data[place : place + 4]
        (size,) = struct.unpack_from("<I", data, place + 4)
        after = place + 8 + size + size % 2
        if name == b"VP8X":
            extended = len(chunks)
        if name in WEBP_KEPT:
            chunks.append(data[place:after])
        place = after
    if turn != UPRIGHT:
        chunks.append(_webp_chunk(b"EXIF", _turn_alone(turn)))
    if extended >= 0:
        chunks[extended] = _webp_flags(chunks[extended], has_turn=turn != UPRIGHT)
    elif turn != UPRIGHT:
        raise CannotStrip
    body = b"".join(chunks)
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def _webp_chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def _webp_flags(chunk: bytes, *, has_turn: bool) -> bytes:
    flags = chunk[8] & ~(WEBP_SAYS_EXIF | WEBP_SAYS_XMP) | (WEBP_SAYS_EXIF if has_turn else 0)
    return chunk[:8] + bytes([flags]) + chunk[9:]


STRIPPERS: Mapping[str, Callable[[bytes, int], bytes]] = {
    "jpeg": _jpeg,
    "png": _png,
    "webp": _webp,
}
"""The kinds of file that can be taken apart without coding the picture anew."""

EXIF_OF: Mapping[str, Callable[[bytes], bytes]] = {
    "jpeg": _jpeg_exif,
    "png": _png_exif,
    "webp": _webp_exif,
}
"""Where each of these kinds of file keeps its EXIF."""
