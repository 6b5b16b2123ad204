"""The pages of a sheet as pictures, so that its signer sees it on any phone."""

import io
from threading import Lock

from referral.errors import NotFound

PIXELS_PER_POINT = 2.0

_one_at_a_time = Lock()
"""PDFium must not be entered by two threads at once."""


def page_count(pdf: bytes) -> int:
    """Return how many pages a PDF has."""
    import pypdfium2  # noqa: PLC0415 - heavy, loaded on first use

    with _one_at_a_time:
        document = pypdfium2.PdfDocument(pdf)
        try:
            return len(document)
        finally:
            document.close()


def page_picture(pdf: bytes, page: int) -> bytes:
    """Return one page of a PDF, signatures and all, as PNG; pages count from 1.

    Raises
    ------
    NotFound
        If the PDF has no such page.
    """
    import pypdfium2  # noqa: PLC0415 - heavy, loaded on first use

    with _one_at_a_time:
        document = pypdfium2.PdfDocument(pdf)
        try:
            document.init_forms()
            if not 1 <= page <= len(document):
                raise NotFound("This sheet has no such page.")
            bitmap = document[page - 1].render(scale=PIXELS_PER_POINT, may_draw_forms=True)
            out = io.BytesIO()
            bitmap.to_pil().quantize(64).save(out, "PNG", optimize=False)
            return out.getvalue()
        finally:
            document.close()
