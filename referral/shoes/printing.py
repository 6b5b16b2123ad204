"""The outline on paper at true size, with what tells whether the printer kept to it."""

from collections.abc import Sequence

from referral.errors import Invalid
from referral.shoes.drawing import Marks, true_drawing
from referral.shoes.outline import ShoeShape
from referral.web.pdf import page_html, render_pdf

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}
"""Source: ISO 216 for A4 and A3; ANSI/ASME Y14.1 for Letter, 8.5 x 11 inches."""
NAMES = {"a4": "A4", "letter": "Letter", "a3": "A3"}
MARGIN_MM = 8.0
HEAD_MM = 36.0
"""The words above the outline, never more than this."""


def outline_pdf(
    shoe: ShoeShape,
    title: str,
    lines: Sequence[str],
    paper: str = "a4",
    *,
    limb: str | None = None,
    foot: Marks = (),
) -> bytes:
    """Return the outline at true size as a PDF of one page, with crosses on places of the foot.

    Raises
    ------
    Invalid
        If there is no such paper, the shoe is larger than it, or there is no such shoe.
    """
    if paper not in PAPERS:
        raise Invalid("Choose A4, Letter or A3.")
    width_mm, height_mm = PAPERS[paper]
    drawing = true_drawing(shoe, limb=limb, foot=foot)
    room = (width_mm - 2 * MARGIN_MM, height_mm - 2 * MARGIN_MM - HEAD_MM)
    if drawing.width_mm > room[0] or drawing.height_mm > room[1]:
        other = "" if paper == "a3" else " Take A3."
        raise Invalid(f"This shoe is larger than {NAMES[paper]} at true size.{other}")
    values = {
        "title": title,
        "lines": lines,
        "svg": drawing.svg,
        "page_mm": (width_mm, height_mm),
        "margin_mm": MARGIN_MM,
        "head_mm": HEAD_MM,
    }
    return render_pdf(page_html("shoes/outline.html", values)).data
