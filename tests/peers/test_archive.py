"""Checkers of archival and accessible PDF, and poppler's reading of what a sheet carries inside."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.features.sheets.sample import Signed, signed_sheet

JARS = Path("/usr/share/java")
PREFLIGHT = (
    "preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "javax.activation", "jaxb-api",
)  # fmt: skip
OF_THE_FIRST_PART_ALONE = {
    "1.4.7": "EmbeddedFile entry is present in the Names dictionary",
    "1.2.9": "EmbeddedFile entry is present in a FileSpecification",
    "3.1.11": "The CIDSet entry is missing",
    "2.2.1": "Group has a transparency S entry",
    "7.3": "Schema is not set in this document : http://purl.org/dc/elements/1.1/",
}
"""What ISO 19005-1 forbids and ISO 19005-3 allows; the checker knows the first part alone.

The last is said of any file whose XMP has these schemas, of PDF/A-1b files too.
"""


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return signed_sheet(tmp_path_factory.mktemp("archive") / "authority")


@pytest.fixture
def sheet(signed: Signed, tmp_path: Path) -> Path:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(signed.twice)
    return path


def faults_of(sheet: Path) -> list[tuple[str, str]]:
    """Return what the checker of PDF/A-1b finds in a file, each once: its code and its words."""
    jars = ":".join(str(JARS / f"{name}.jar") for name in PREFLIGHT)
    command = ["java", "-cp", jars, "org.apache.pdfbox.preflight.Validator_A1b", str(sheet)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert f"The file {sheet.name} is not a valid PDF/A-1b file" in done.stdout
    return sorted(set(re.findall(r"^(\d[\d.]*) : (.*)$", done.stdout, re.MULTILINE)))


def is_allowed(code: str, says: str) -> bool:
    return OF_THE_FIRST_PART_ALONE.get(code, "nothing") in says


def test_preflight_finds_only_what_the_third_part_allows(sheet):
    found = faults_of(sheet)
    assert found, "a file with an attachment is never PDF/A-1b"
    assert [each for each in found if not is_allowed(*each)] == []


def test_preflight_does_find_a_font_that_is_not_embedded(sheet):
    import pikepdf

    with pikepdf.open(sheet, allow_overwriting_input=True) as document:
        page = document.pages[0]
        font = pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name.Courier
        )
        page.add_resource(document.make_indirect(font), pikepdf.Name.Font, pikepdf.Name.Bare)
        page.contents_add(b"BT /Bare 9 Tf 40 40 Td (bare) Tj ET")
        document.save(sheet)
    assert [code for code, says in faults_of(sheet) if not is_allowed(code, says)] != []


def test_pdfua_finds_nothing_among_the_rules_a_machine_can_check(sheet):
    """A part of ISO 14289-1; no statement that the file conforms."""
    command = [sys.executable, "-m", "pdfua", "check", str(sheet)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
    assert "errors=0 warnings=0" in done.stdout


def test_what_poppler_takes_out_of_a_sheet_is_what_was_kept(signed, sheet, tmp_path):
    out = tmp_path / "handover.json"
    subprocess.run(["pdfdetach", "-save", "1", "-o", str(out), str(sheet)], check=True)
    assert out.read_bytes() == signed.snapshot.to_json()
    assert json.loads(out.read_bytes())["kind"] == "agreed_plan"
