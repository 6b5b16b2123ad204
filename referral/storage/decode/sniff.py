"""What a file is, judged by its content alone."""

from referral.errors import Invalid

DICOM_MARK = slice(128, 132)
SHORTEST = 16


def kind_of(data: bytes) -> str:
    """Return ``dicom``, ``jpeg`` or ``png``.

    Raises
    ------
    Invalid
        If the file is empty, or of no kind that is taken.
    """
    if not data:
        raise Invalid("The file is empty; choose it again.")
    if data[DICOM_MARK] == b"DICM":
        return "dicom"
    if data.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if _looks_like_bare_dicom(data):
        return "dicom"
    raise Invalid("This is no DICOM, JPEG or PNG file, whatever its name says.")


def _looks_like_bare_dicom(data: bytes) -> bool:
    """Say whether the file starts with a DICOM data element of group 0002 or 0008."""
    if len(data) < SHORTEST:
        return False
    return data[:2] in (b"\x02\x00", b"\x08\x00") and data[3:4] == b"\x00"
