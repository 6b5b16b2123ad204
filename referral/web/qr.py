"""An address as a square code that a telephone reads."""

import base64
import io
from dataclasses import dataclass

from referral.web.fonts import SVG_PICTURE

QUIET_MODULES = 4
"""White modules around a code, by which readers find it. Source: ISO/IEC 18004 (from memory)."""
MODULE_PX = 2
"""On paper: about half a millimetre, and whole on a screen of 96 to the inch."""


@dataclass(frozen=True, slots=True)
class QrPicture:
    """A code as a picture's address, an SVG inside it; and how wide it is printed, in CSS px."""

    address: str
    width_px: int


def qr_picture(text: str) -> QrPicture:
    """Return the code of a text."""
    import segno  # noqa: PLC0415 - loaded when a code is drawn

    out = io.BytesIO()
    code = segno.make(text, error="m", micro=False)
    code.save(out, kind="svg", border=QUIET_MODULES, xmldecl=False)
    modules, _ = code.symbol_size(border=QUIET_MODULES)
    address = f"{SVG_PICTURE}{base64.b64encode(out.getvalue()).decode()}"
    return QrPicture(address, int(modules) * MODULE_PX)
