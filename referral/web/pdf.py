"""HTML to PDF/A-3a: bundled fonts, nothing fetched, files attached."""

import atexit
import threading
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from referral.web.fonts import font_face_css, house_folder, require_printable

PT_PER_PX = 0.75
VARIANT = "pdf/a-3a"

_one_at_a_time = threading.Lock()
"""Pango's font map is shared by all renderings of a process."""


@dataclass(frozen=True, slots=True)
class Attached:
    """A file to put inside the PDF. ``made_at`` is printed nowhere but kept with it."""

    name: str
    data: bytes
    description: str
    made_at: datetime


@dataclass(frozen=True, slots=True)
class PageBox:
    """Where an element landed: page from 0, points from the lower left corner of the page."""

    page: int
    left_pt: float
    bottom_pt: float
    right_pt: float
    top_pt: float


@dataclass(frozen=True, slots=True)
class RenderedPdf:
    """A PDF, its number of pages, and where each element with an ``id`` landed."""

    data: bytes
    pages: int
    boxes: Mapping[str, PageBox]


def page_html(template: str, values: Mapping[str, Any]) -> str:
    """Return a print template filled in; every value is escaped.

    Raises
    ------
    jinja2.TemplateError
        If the template is missing or asks for a value that was not given.
    """
    return str(_templates().get_template(template).render(values))


def render_pdf(
    html: str, attachments: Sequence[Attached] = (), *, archival: bool = True
) -> RenderedPdf:
    """Return the page as PDF/A-3a (or plain PDF, for a stamp that goes inside another one).

    Raises
    ------
    Invalid
        If a character of the text is in none of the bundled fonts.
    """
    require_printable(html)
    from weasyprint import HTML, Attachment  # noqa: PLC0415 - heavy, loaded on first use

    with _one_at_a_time:
        fetcher = _data_only()
        fonts, font_css = house_fonts()
        variant = VARIANT if archival else None
        document = HTML(string=html, url_fetcher=fetcher).render(
            stylesheets=[font_css], font_config=fonts, pdf_variant=variant
        )
        files = [
            Attachment(
                string=item.data,
                name=item.name,
                description=item.description,
                created=item.made_at,
                modified=item.made_at,
                relationship="Data",
                url_fetcher=fetcher,
            )
            for item in attachments
        ]
        with warnings.catch_warnings():
            # WeasyPrint leaves its colour profile's file for the garbage collector to close.
            warnings.filterwarnings("ignore", "unclosed file", ResourceWarning)
            data = document.write_pdf(pdf_variant=variant, attachments=files)
    return RenderedPdf(data, len(document.pages), _boxes(document.pages))


def _boxes(pages: Sequence[Any]) -> dict[str, PageBox]:
    found: dict[str, PageBox] = {}
    for number, page in enumerate(pages):
        for name, (left, top, right, bottom) in page.anchors.items():
            found[name] = PageBox(
                number,
                left * PT_PER_PX,
                (page.height - bottom) * PT_PER_PX,
                right * PT_PER_PX,
                (page.height - top) * PT_PER_PX,
            )
    return found


def _data_only() -> Any:  # noqa: ANN401 - WeasyPrint carries no types
    from weasyprint.urls import URLFetcher  # noqa: PLC0415 - heavy, loaded on first use

    return URLFetcher(allowed_protocols=["data"], allow_redirects=False)


@lru_cache(maxsize=1)
def house_fonts() -> tuple[Any, Any]:
    """Return the font configuration and the style sheet of the bundled fonts."""
    from weasyprint import CSS  # noqa: PLC0415 - heavy, loaded on first use
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415 - heavy, likewise

    fonts = FontConfiguration()
    atexit.register(house_fonts.cache_clear)  # its own clean-up needs a living interpreter
    return fonts, CSS(string=font_face_css(), font_config=fonts, url_fetcher=_data_only())


@lru_cache(maxsize=1)
def _templates() -> Any:  # noqa: ANN401 - Jinja2 is loaded when a page is printed
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - likewise

    return Environment(
        loader=FileSystemLoader(house_folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
