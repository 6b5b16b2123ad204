"""Every kind of sheet of a case of sixty resets: its words, and where poppler finds them."""

import re
import subprocess
from dataclasses import dataclass
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest

from referral.sheets.snapshot import TITLES, SheetKind
from tests.peers.long_case import LONG, RESETS, a_long_case

XHTML = "{http://www.w3.org/1999/xhtml}"
A4_PT = (595.28, 841.89)
MM = 72 / 25.4
SIDE_PT, TOP_PT, BOTTOM_PT = 16 * MM, 6 * MM, 5 * MM
"""The sheet's side margins; running head and foot stand within the upper and the lower one."""
HALF_PT = 0.5


@dataclass(frozen=True)
class Word:
    """One word and its box from the upper left of its page, in points."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def runs_into(self, other: "Word") -> bool:
        """Say whether two words share more than the room above and below their letters."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.bottom, other.bottom) - max(self.top, other.top)
        lower = min(self.bottom - self.top, other.bottom - other.top)
        return wide > HALF_PT and high > lower / 2


def pages_of(pdf: bytes) -> list[list[Word]]:
    done = subprocess.run(
        ["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True
    )
    # control signs that stand for no letter are no part of XML
    text = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "", done.stdout.decode())
    return [
        [
            Word(
                each.text or "",
                *(float(each.get(edge)) for edge in ("xMin", "yMin", "xMax", "yMax")),
            )
            for each in page.iter(f"{XHTML}word")
        ]
        for page in ET.fromstring(text).iter(f"{XHTML}page")
    ]


def lines_of(page: list[Word]) -> list[str]:
    """Return a page's lines: words that stand on one base line, from the left."""
    rows: list[list[Word]] = []
    for word in sorted(page, key=lambda each: each.bottom):
        if rows and abs(rows[-1][-1].bottom - word.bottom) < 2:
            rows[-1].append(word)
        else:
            rows.append([word])
    return [" ".join(w.text for w in sorted(row, key=lambda each: each.left)) for row in rows]


@pytest.fixture(scope="module")
def case(databases, tmp_path_factory):
    database = databases.fresh()
    yield a_long_case(database, tmp_path_factory.mktemp("long"))
    database.dispose()


@pytest.fixture(params=list(SheetKind))
def pages(request, case) -> tuple[SheetKind, list[list[Word]]]:
    return request.param, pages_of(case.sheets[request.param])


def test_no_word_stands_outside_the_margins_or_on_another(pages):
    _kind, found = pages
    for words in found:
        assert len(words) > 30
        for word in words:
            assert SIDE_PT - HALF_PT <= word.left < word.right <= A4_PT[0] - SIDE_PT + HALF_PT, word
            assert TOP_PT <= word.top < word.bottom <= A4_PT[1] - BOTTOM_PT, word
        assert [pair for pair in combinations(words, 2) if pair[0].runs_into(pair[1])] == []


def test_each_page_says_which_of_how_many_and_whose(pages):
    kind, found = pages
    assert len(found) > 1
    for n, words in enumerate(found, 1):
        lines = lines_of(words)
        assert lines[-1].endswith(f"Page {n} of {len(found)}")
        assert n == 1 or lines[0] == f"{TITLES[kind]} · Marrow · case 1"


def test_what_was_written_at_length_is_printed_whole(pages):
    kind, found = pages
    written = {
        SheetKind.REFERRAL: 1, SheetKind.AGREED_PLAN: 0, SheetKind.AS_FITTED: 4,
        SheetKind.OWNER_COPY: 2, SheetKind.CLOSING: 2,
    }  # fmt: skip
    words = [word.text for page in found for word in page]
    assert words.count("drawn.") == written[kind] * LONG.count("drawn.")


def is_visit(line: str, n: int, day: str) -> bool:
    return line.startswith(f"{n} {day} LF ") and line.endswith(" countersigned")


def test_the_closing_report_has_each_reset_once_on_one_line_under_its_heads(case):
    pages = [lines_of(page) for page in pages_of(case.sheets[SheetKind.CLOSING])]
    assert len(case.days) == RESETS
    found = []
    for lines in pages:
        here = [
            n
            for line in lines
            for n, on in enumerate(case.days, 1)
            if is_visit(line, n, f"{on.day} {on:%b %Y}")
        ]
        assert len(here) != 1
        text = " ".join(lines)
        for head in ("Reset", "Fitted on", "Limb", "Plan", "planned", "Vet"):
            assert not here or head in text
        found += here
    assert found == list(range(1, RESETS + 1))


def test_each_line_of_what_was_fitted_stands_whole_under_its_heads(case):
    pages = [lines_of(page) for page in pages_of(case.sheets[SheetKind.AS_FITTED])]
    rows = ("Off the toe 4 mm 4 mm none", "Wedge 3° 3° none", "Interval 5 weeks 5 weeks none")
    for row in rows:
        (lines,) = [lines for lines in pages if any(line.startswith(row) for line in lines)]
        assert "What Planned As fitted Difference Reason" in lines
