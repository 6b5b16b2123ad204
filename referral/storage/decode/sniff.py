"""What a file is, judged by its content alone."""

from referral.errors import Invalid

DICOM_MARK = slice(128, 132)
BARE_GROUPS = (b"\x02\x00", b"\x08\x00")
OTHERS: tuple[tuple[int, bytes, str], ...] = (
    (0, b"%PDF-", "a PDF"),
    (0, b"PK\x03\x04", "a ZIP archive"),
    (0, b"GIF8", "a GIF picture"),
    (0, b"BM", "a BMP picture"),
    (0, b"II*\x00", "a TIFF picture"),
    (0, b"MM\x00*", "a TIFF picture"),
    (8, b"WEBP", "a WebP picture"),
    (4, b"ftypqt", "a film clip"),
    (4, b"ftypmp4", "a film clip"),
    (4, b"ftypisom", "a film clip"),
    (4, b"ftyp", "a HEIC picture"),
)
"""Place, bytes there, and what such a file is called; the first that fits names it."""


def kind_of(data: bytes) -> str:
    """Return ``dicom``, ``jpeg`` or ``png``.

    Raises
    ------
    Invalid
        If the file is empty, or of no kind that is taken; names the kind where it is known.
    """
    if not data:
        raise Invalid("The file is empty; choose it again.")
    if data[DICOM_MARK] == b"DICM":
        return "dicom"
    if data.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    for place, mark, called in OTHERS:
        if data[place : place + len(mark)] == mark:
            raise Invalid(f"This is {called}; export it as DICOM, JPEG or PNG.")
    if data[:2] in BARE_GROUPS and data[3:4] == b"\x00":
        return "dicom"
    raise Invalid("This is no DICOM, JPEG or PNG file, whatever its name says.")
