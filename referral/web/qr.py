"""An address as a square code that a telephone reads."""

import base64
import io

from referral.web.fonts import SVG_PICTURE


def qr_picture(text: str) -> str:
    """Return the code of a text as a picture's address, an SVG inside it."""
    import segno  # noqa: PLC0415 - loaded when a code is drawn

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=2, xmldecl=False)
    return f"{SVG_PICTURE}{base64.b64encode(out.getvalue()).decode()}"
