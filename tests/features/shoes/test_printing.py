"""The outline on paper is true to size: measured in the PDF's own vector coordinates."""

import ctypes

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from referral.errors import Invalid
from referral.shoes.drawing import BAR, FOOT, INK, LINE, small_svg
from referral.shoes.outline import ShoeShape, facts_of
from referral.shoes.printing import PAPERS, outline_pdf

MM = 25.4 / 72.0  # Source: ISO 32000: a point is 1/72 inch
SHOE = ShoeShape("egg_heart", 150.0, 141.5, 22.0, thickness_mm=10.0, material="steel")
TITLE = "Egg-heart bar, size 3"

pytestmark = pytest.mark.pdf


def stroke_of(path):
    red, green, blue, alpha = (ctypes.c_uint() for _ in "rgba")
    pdfium.FPDFPageObj_GetStrokeColor(path, red, green, blue, alpha)
    return f"#{red.value:02x}{green.value:02x}{blue.value:02x}"


def matrix_of(path):
    matrix = pdfium.FS_MATRIX()
    assert pdfium.FPDFPageObj_GetMatrix(path, matrix)
    return pypdfium2.PdfMatrix.from_raw(matrix)


def points_of(path, outer):
    """Yield each point of a path in millimetres on the page."""
    matrix = matrix_of(path).multiply(outer)
    for number in range(pdfium.FPDFPath_CountSegments(path)):
        x, y = ctypes.c_float(), ctypes.c_float()
        pdfium.FPDFPathSegment_GetPoint(pdfium.FPDFPath_GetPathSegment(path, number), x, y)
        across, up = matrix.on_point(x.value, y.value)
        yield across * MM, up * MM


def paths_by_colour(data):
    """Return every stroked path's points by colour, forms inside forms too."""
    found = {}
    with pypdfium2.PdfDocument(data) as pdf:
        assert len(pdf) == 1
        page = pdf[0]
        for path, outer in objects_in(page):
            found.setdefault(stroke_of(path), []).append(list(points_of(path, outer)))
        return found, page.get_size(), page.get_textpage().get_text_range()


def objects_in(page):
    for number in range(pdfium.FPDFPage_CountObjects(page)):
        yield from objects_of(pdfium.FPDFPage_GetObject(page, number), pypdfium2.PdfMatrix())


def objects_of(thing, outer):
    kind = pdfium.FPDFPageObj_GetType(thing)
    if kind == pdfium.FPDF_PAGEOBJ_PATH:
        yield thing, outer
    if kind == pdfium.FPDF_PAGEOBJ_FORM:
        inner = matrix_of(thing).multiply(outer)
        for number in range(pdfium.FPDFFormObj_CountObjects(thing)):
            yield from objects_of(pdfium.FPDFFormObj_GetObject(thing, number), inner)


def size_of(points):
    return tuple(max(axis) - min(axis) for axis in zip(*points, strict=True))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_paper_carries_the_outline_and_both_bars_at_true_size(paper):
    found, page_pt, words = paths_by_colour(outline_pdf(SHOE, TITLE, ["steel"], paper))
    assert [side * MM for side in page_pt] == pytest.approx(PAPERS[paper], abs=0.1)
    (bars,) = found[BAR]
    across, up = bars[0:2], bars[2:4]
    assert size_of(across) == pytest.approx((100.0, 0.0), abs=0.2)
    assert size_of(up) == pytest.approx((0.0, 100.0), abs=0.2)
    (outline,) = found[INK]
    facts = facts_of(SHOE)
    assert facts.overall_width_mm == pytest.approx(141.5, abs=0.01)
    assert size_of(outline) == pytest.approx(
        (facts.overall_width_mm, facts.overall_length_mm), abs=0.2
    )
    assert "Print at 100 %" in " ".join(words.split())
    for points in (bars, outline):
        assert min(min(point) for point in points) > 5.0  # printers leave a margin; no source
        assert max(across for across, _ in points) < PAPERS[paper][0] - 5.0


def test_the_lines_of_reference_run_through_the_middle_and_the_widest_place():
    found, _page, _words = paths_by_colour(outline_pdf(SHOE, TITLE, ["steel"]))
    (outline,), (lines,) = found[INK], found[LINE]
    left, right = min(outline)[0], max(outline)[0]
    assert [x for x, _ in lines[:2]] == pytest.approx([(left + right) / 2] * 2, abs=0.2)
    heel, widest = lines[2][1], lines[4][1]
    assert widest - heel == pytest.approx(75.0, abs=0.2)
    at_widest = [y for x, y in outline if x < left + 0.01]
    assert sum(at_widest) / len(at_widest) == pytest.approx(widest, abs=1.0)


@pytest.mark.parametrize(("limb", "is_left"), [("LF", False), ("RH", True), (None, True)])
def test_the_inner_side_is_towards_the_other_foot(limb, is_left):
    """Seen from above, toe up, the inner side of a right foot is its left one."""
    shoe = ShoeShape("three_quarter", 140.0, 130.0, 20.0)
    found, _page, _words = paths_by_colour(outline_pdf(shoe, "Three-quarter", [], limb=limb))
    (outline,) = found[INK]
    middle = (min(outline)[0] + max(outline)[0]) / 2
    low = min(y for _x, y in outline)
    ends_at_heels = [x for x, y in outline if y < low + 1.0]
    assert all((x > middle) == is_left for x in ends_at_heels)


def test_a_shoe_larger_than_the_paper_is_refused_never_made_smaller():
    huge = ShoeShape("open", 290.0, 240.0, 30.0)
    for paper, said in (("a4", "Take A3"), ("letter", "Take A3")):
        with pytest.raises(Invalid, match=said):
            outline_pdf(huge, "Draught", [], paper)
    assert outline_pdf(huge, "Draught", [], "a3").startswith(b"%PDF")
    with pytest.raises(Invalid, match="larger than A3"):
        outline_pdf(ShoeShape("egg_bar", 390.0, 240.0, 30.0), "Draught", [], "a3")
    with pytest.raises(Invalid, match="Choose A4"):
        outline_pdf(SHOE, TITLE, [], "wall")


def test_a_small_drawing_has_no_style_of_its_own():
    """The site's policy forbids styles inside pages."""
    drawing = small_svg(SHOE, limb="LF")
    assert "style=" not in drawing
    assert 'aria-hidden="true"' in drawing


def test_the_foot_stands_on_the_paper_where_it_was_placed():
    """A toe 9 mm before the shoe's and heels 30 mm to each side, 8 mm before its heel line.

    Of a right foot, seen from above with the toe up, the outer side lies to the right.
    """
    foot = [(159.0, 0.0), (8.0, -30.0), (8.0, 30.0)]
    given = outline_pdf(SHOE, TITLE, [], limb="RF", foot=foot)
    found, _page, _words = paths_by_colour(given)
    (crosses,), (outline,), (lines,) = found[FOOT], found[INK], found[LINE]
    middles = [
        (sum(x for x, _ in part) / 4, sum(y for _, y in part) / 4)
        for part in (crosses[start : start + 4] for start in range(0, len(crosses), 4))
    ]
    centre, heel_line = lines[0][0], lines[2][1]
    for (x, y), (along, across) in zip(middles, foot, strict=True):
        assert x - centre == pytest.approx(across, abs=0.2)
        assert y - heel_line == pytest.approx(along, abs=0.2)
    assert max(y for _, y in outline) - heel_line == pytest.approx(150.0, abs=0.2)
