"""Sheets of a long case: no row is cut, heads are repeated, every page has its number."""

import io
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from PIL import Image

from referral.plans.rows import Value
from referral.sheets.check_views import LARGEST_PDF_BYTES
from referral.sheets.printing import render_sheet
from referral.sheets.snapshot import PlanLine, SeriesShown, SheetKind, Told, VisitShown
from referral.storage.canonical import sha256_hex
from referral.storage.decode.film import SERVED_LONGEST_PX, jpeg_bytes, read_film
from referral.web.fonts import house_folder
from referral.web.pdf import render_pdf
from referral.web.written import day
from tests.features.sheets.sample import sample
from tests.features.sheets.test_printing import PICTURES, pages_of

FIRST = date(2020, 1, 6)
RESETS = range(1, 61)
COLUMNS = ("Fitted on", "Limb", "Palmar", "Sole depth", "Plan", "planned", "Vet")


def numbered(pages, title):
    """Check that every page after the first says whose it is, and each which of how many it is."""
    for at, page in enumerate(pages, 1):
        assert f"Page {at} of {len(pages)}" in page
        assert at == 1 or f"{title} · Quillon · case 2026-014" in page


def visit(n, limb):
    readings = (
        ("palmar_angle_deg", Value(1 + n / 20, 0.4)),
        ("dorsal_wall_angle_deg", Value(47, 0.4)),
        ("breakover_distance_mm", Value(40, 1)),
        ("behind_centre_percent", Value(52, 0.8)),
        ("sole_depth_tip_mm", Value(14, 0.9)),
    )
    answer = "correction asked" if n % 7 == 0 else "countersigned"
    return VisitShown(n, FIRST + timedelta(days=n), limb, n, readings, n % 4, answer)


@pytest.mark.pdf
def test_a_closing_report_of_sixty_resets_of_two_feet():
    visits = tuple(visit(n, limb) for n in RESETS for limb in ("LF", "RF"))
    points = tuple((FIRST + timedelta(weeks=5 * n), Value(1 + n / 20, 0.4)) for n in RESETS)
    series = tuple(
        SeriesShown(limb, code, name, unit, "films", points, Value(3, 0.5), True, 3.0, None)
        for limb in ("LF", "RF")
        for code, name, unit in (
            ("palmar_angle_deg", "Palmar angle", "deg"),
            ("breakover_distance_mm", "Breakover distance", "mm"),
            ("sole_depth_tip_mm", "Sole depth at the tip", "mm"),
        )
    )
    learned = Told("Outcome", (("What was learned", "Short spans kept the toe back. " * 64),))
    closing = replace(
        sample(SheetKind.CLOSING), limbs=(), told=(learned,), visits=visits, series=series
    )
    pages = pages_of(render_sheet(closing, PICTURES).data)
    numbered(pages, "Closing report")
    lines = [[line.split() for line in page.splitlines()] for page in pages]
    found = []
    for page, words in zip(pages, lines, strict=True):
        rows = [
            (int(line[0]), line[4])
            for line in words
            if len(line) > 12 and line[0].isdigit() and " ".join(line[1:4]) in page
        ]
        rows = [row for row in rows if day(FIRST + timedelta(days=row[0])) in page]
        found += rows
        assert len(rows) != 1
        assert not rows or all(column in page for column in COLUMNS), rows
    assert found == [(each.n, each.limb) for each in visits]


@pytest.mark.pdf
def test_an_as_fitted_sheet_with_a_reason_for_everything_on_four_feet():
    fitted = sample(SheetKind.AS_FITTED)
    (part,) = fitted.limbs
    why = "The wall broke away at the medial quarter when the old nails were drawn. "

    def lines(limb):
        return tuple(
            PlanLine(
                f"Line {n}",
                "3 mm",
                "4 mm",
                "+1 mm",
                f"Begins-{limb}-{n}. {why * (26 if n == 26 else n % 4)}Ends-{limb}-{n}.",
            )
            for n in range(1, 27)
        )

    limbs = tuple(
        replace(part, limb=limb, plan_lines=lines(limb)) for limb in ("LF", "RF", "LH", "RH")
    )
    notes = (("Found under the old shoe", why * 27), ("Advice to the owner", why * 27))
    snapshot = replace(fitted, limbs=limbs, notes=notes, revision=900)
    pages = pages_of(render_sheet(snapshot, PICTURES).data)
    numbered(pages, "As fitted")
    assert len(pages) > 8
    for limb in ("LF", "RF", "LH", "RH"):
        for n in range(1, 27):
            begun = [page for page in pages if f"Begins-{limb}-{n}." in page]
            ended = [page for page in pages if f"Ends-{limb}-{n}." in page]
            assert begun == ended, (limb, n)
            (page,) = begun
            for column in ("What", "Planned", "As fitted", "Difference", "Reason"):
                assert column in page


FOUR_ROWS = "<table><tbody>" + "".join(
    f"<tr><th>{n}</th><td>{'<br>'.join(f'row{n}line{line}' for line in range(5))}</td></tr>"
    for n in range(4)
) + "</tbody></table>"  # fmt: skip


def rows_cut(style: str) -> list[int]:
    """Return which of four rows of five lines stand on two pages of ten by eight centimetres."""
    page = "@page { size: 10cm 8cm; margin: 1cm } html { font: 12pt/1.5 'Noto Sans' }"
    html = f"<html lang=en><title>x</title><style>{style}{page}</style><body>{FOUR_ROWS}"
    pages = pages_of(render_pdf(html).data)
    return [n for n in range(4) if sum(f"row{n}line" in text for text in pages) > 1]


@pytest.mark.pdf
def test_by_the_sheets_style_no_row_is_cut_where_one_would_be():
    style = (house_folder("templates") / "print" / "sheet.css").read_text()
    assert rows_cut("") != []
    assert rows_cut(style) == []


@pytest.mark.pdf
def test_four_films_of_nothing_but_noise_make_a_sheet_that_can_still_be_checked():
    """A picture of noise is the largest that there is: 3000 by 2400 pixels, seven megabytes."""
    grey = np.random.default_rng(1).integers(0, 256, (2400, 3000), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(grey).save(out, "PNG")
    assert len(out.getvalue()) > 7_000_000
    jpeg = jpeg_bytes(read_film(out.getvalue(), "noise.png"), SERVED_LONGEST_PX)
    snapshot = sample(SheetKind.REFERRAL)
    (part,) = snapshot.limbs
    noisy = replace(part.film, picture_sha256=sha256_hex(jpeg), size_px=(3000, 2400))
    one = replace(snapshot, limbs=(replace(part, film=noisy),))
    printed = render_sheet(one, {noisy.picture_sha256: jpeg}).data
    assert 4 * len(printed) < LARGEST_PDF_BYTES
