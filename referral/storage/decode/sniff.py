"""What a file is, judged by its content alone."""

from referral.errors import Invalid

HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1")
BARE_GROUPS = (b"\x02\x00", b"\x08\x00")
OTHERS: tuple[tuple[int, bytes, str], ...] = (
    (0, b"%PDF-", "a PDF"),
    (0, b"PK\x03\x04", "a ZIP archive"),
    (0, b"GIF8", "a GIF picture"),
    (0, b"BM", "a BMP picture"),
    (4, b"ftypavif", "an AVIF picture"),
    (4, b"ftyp", "a film clip"),
)
"""Place, bytes there, and what such a file is called; the first that fits names it."""


WANTED = "export it as DICOM, or as a JPEG, PNG, TIFF, WebP or HEIC picture."
TAKEN: tuple[tuple[int, bytes, str], ...] = (
    (128, b"DICM", "dicom"),
    (0, b"\xff\xd8\xff", "jpeg"),
    (0, b"\x89PNG\r\n\x1a\n", "png"),
    (0, b"II*\x00", "tiff"),
    (0, b"MM\x00*", "tiff"),
    (8, b"WEBP", "webp"),
    *((4, b"ftyp" + brand, "heic") for brand in HEIC_BRANDS),
)
"""Place, bytes there, and the kind of file that is taken; the first that fits names it."""


def kind_of(data: bytes) -> str:
    """Return ``dicom jpeg png tiff webp`` or ``heic``.

    Raises
    ------
    Invalid
        If the file is empty, or of no kind that is taken; names the kind where it is known.
    """
    if not data:
        raise Invalid("The file is empty; choose it again.")
    for place, mark, kind in TAKEN:
        if data[place : place + len(mark)] == mark:
            return kind
    for place, mark, called in OTHERS:
        if data[place : place + len(mark)] == mark:
            raise Invalid(f"This is {called}; {WANTED}")
    if data[:2] in BARE_GROUPS and data[3:4] == b"\x00":
        return "dicom"
    raise Invalid(f"This is no film and no picture that is taken, whatever its name says; {WANTED}")
