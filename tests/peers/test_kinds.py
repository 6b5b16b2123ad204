"""Every kind of sheet, signed as its kind asks for, before programs that know nothing of ours."""

import re
import subprocess
import sys
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import pytest

from referral.clock import utc_now
from referral.sheets.printing import print_sheet
from referral.sheets.snapshot import SIGNERS, SheetKind, Snapshot
from referral.storage.canonical import sha256_hex
from tests.features.sheets.sample import FILM, an_authority, sample, signed_by_all
from tests.features.sheets.test_printing import TOLD
from tests.peers.test_archive import faults_of, is_allowed
from tests.peers.test_pdfsig import run

ROOT = Path(__file__).resolve().parents[2]
OUTLOUD = ROOT / ".venv-peers/bin/outloud"


@dataclass(frozen=True)
class Sheet:
    """A sheet that everybody has signed, its content, and a place with its authority's root."""

    path: Path
    made: Snapshot
    trusting: str

    @property
    def signers(self) -> int:
        return len(SIGNERS[self.made.kind])


@pytest.fixture(scope="module", params=list(SheetKind), ids=lambda kind: kind.value)
def sheet(request, tmp_path_factory) -> Sheet:
    made = replace(
        sample(request.param), made_at=utc_now().replace(microsecond=0) - timedelta(hours=1)
    )
    if len(SIGNERS[made.kind]) == 1:
        made = replace(made, limbs=(), told=TOLD)
    folder = tmp_path_factory.mktemp("kind")
    authority, keys = an_authority(folder / "authority", made)
    printed = print_sheet(made, {sha256_hex(FILM): FILM})
    path = folder / "sheet.pdf"
    path.write_bytes(signed_by_all(printed, authority, keys, made)[-1])
    (folder / "root.pem").write_bytes(authority.root_pem)
    place = f"sql:{folder / 'nss'}"
    (folder / "nss").mkdir()
    run("certutil", "-N", "-d", place, "--empty-password")
    run("certutil", "-A", "-d", place, "-n", "root", "-t", "CT,C,C", "-i", folder / "root.pem")
    return Sheet(path, made, place)


def test_pdfsig_calls_every_signature_valid_and_trusted(sheet):
    said = run("pdfsig", "-nssdir", sheet.trusting, sheet.path)
    assert said.count("Signature Validation: Signature is Valid.") == sheet.signers
    assert said.count("Certificate Validation: Certificate is Trusted.") == sheet.signers
    assert said.count("Total document signed") == 1


def test_qpdf_finds_no_fault(sheet):
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", sheet.path)


def test_preflight_finds_only_what_the_third_part_allows(sheet):
    found = faults_of(sheet.path)
    assert found, "a file with an attachment is never PDF/A-1b"
    assert [each for each in found if not is_allowed(*each)] == []


def test_pdfua_finds_nothing_among_the_rules_a_machine_can_check(sheet):
    said = run(sys.executable, "-m", "pdfua", "check", sheet.path)
    assert "errors=0 warnings=0" in said


def outloud(path: Path) -> str:
    """Return what the checker says of the checkpoints of ISO 14289-1.

    Its other layer guesses at meaning: of a table with as many headings as cells it says that they
    are shredded, and of a signature that its words are no one's, which its field reads out.
    """
    command = [OUTLOUD, "--layer", "conformance", path]
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout


def test_outloud_passes_every_checkpoint_that_a_machine_can_check(sheet):
    said = outloud(sheet.path)
    assert said.startswith("PASS"), said
    assert int(re.search(r"PDF/UA-1 checkpoints: (\d+) pass", said)[1]) >= 14
    assert "fail" not in said


def test_outloud_does_find_a_page_that_no_tag_leads_through(sheet, tmp_path):
    import pikepdf

    broken = tmp_path / "broken.pdf"
    with pikepdf.open(sheet.path) as document:
        del document.Root.StructTreeRoot
        document.save(broken)
    assert outloud(broken).startswith("FAIL")


def test_what_poppler_takes_out_is_the_content_that_was_printed(sheet, tmp_path):
    out = tmp_path / "handover.json"
    run("pdfdetach", "-save", "1", "-o", out, sheet.path)
    assert out.read_bytes() == sheet.made.to_json()
