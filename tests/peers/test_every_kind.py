"""Every kind of sheet, signed and stamped by all its signers, judged by independent programs."""

import re
import subprocess
import sys
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import pytest

from referral.clock import utc_now
from referral.sheets.printing import field_name, print_sheet
from referral.sheets.signing import SigningAct, sign
from referral.sheets.snapshot import SIGNERS, SheetKind, Snapshot
from referral.sheets.stamping import InstanceStamper
from referral.storage.canonical import sha256_hex
from tests.features.sheets.sample import FILM, an_authority, sample
from tests.features.sheets.test_printing import TOLD
from tests.features.sheets.test_stamping import embedded, token_of
from tests.features.sheets.time_authority import TimeAuthority, a_time_authority
from tests.peers.test_archive import faults_of, is_allowed
from tests.peers.test_pdfsig import BYTE_RANGE, der_length, run

OUTLOUD = Path(__file__).resolve().parents[2] / ".venv-peers/bin/outloud"

pytestmark = pytest.mark.enable_socket


@dataclass(frozen=True)
class Stamped:
    """A sheet as its last signer left it, and the two roots that answer for it."""

    pdf: bytes
    snapshot: Snapshot
    root: Path
    time_root: Path


def stamped_sheet(folder: Path, kind: SheetKind, time: TimeAuthority) -> Stamped:
    made_at = utc_now().replace(microsecond=0) - timedelta(minutes=30)
    made = replace(sample(kind), made_at=made_at)
    if len(SIGNERS[kind]) == 1:
        made = replace(made, limbs=(), told=TOLD)
    authority, keys = an_authority(folder / "ours", made)
    pdf = print_sheet(made, {sha256_hex(FILM): FILM})
    for n, role in enumerate(SIGNERS[kind]):
        at = utc_now()
        act = SigningAct(field_name(role), n == 0, "As printed", None, at)
        pdf = sign(pdf, authority, keys[role], act, InstanceStamper(time.address, at, None))
    root = folder / "root.pem"
    root.write_bytes(authority.root_pem)
    return Stamped(pdf, made, root, time.root)


@pytest.fixture(scope="module", params=list(SheetKind))
def stamped(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Stamped:
    folder = tmp_path_factory.mktemp(request.param)
    with a_time_authority(folder / "tsa") as time:
        return stamped_sheet(folder, request.param, time)


def test_openssl_verifies_each_signature(stamped, tmp_path):
    content, der = tmp_path / "content", tmp_path / "cms.der"
    ranges = list(BYTE_RANGE.finditer(stamped.pdf))
    assert len(ranges) == len(SIGNERS[stamped.snapshot.kind])
    command = ["openssl", "cms", "-verify", "-binary", "-cades", "-purpose", "any"]
    command += ["-inform", "DER", "-in", str(der), "-content", str(content)]
    command += ["-CAfile", str(stamped.root), "-out", "/dev/null"]
    for found in ranges:
        start, length, after, rest = map(int, found.groups())
        signed = stamped.pdf[start : start + length] + stamped.pdf[after : after + rest]
        padded = bytes.fromhex(stamped.pdf[start + length + 1 : after - 1].decode())
        der.write_bytes(padded[: der_length(padded)])
        content.write_bytes(signed)
        assert "CAdES Verification successful" in run(*command)
        content.write_bytes(signed[:-1])
        assert subprocess.run(command, capture_output=True, check=False).returncode != 0


def test_openssl_verifies_the_time_stamp_of_each_signature(stamped, tmp_path):
    token_file, value_file = tmp_path / "token.der", tmp_path / "value.bin"
    command = ["openssl", "ts", "-verify", "-token_in", "-in", str(token_file)]
    command += ["-data", str(value_file), "-CAfile", str(stamped.time_root)]
    signatures = embedded(stamped.pdf)
    assert len(signatures) == len(SIGNERS[stamped.snapshot.kind])
    for signature in signatures:
        token, value = token_of(signature)
        token_file.write_bytes(token)
        value_file.write_bytes(value)
        assert "Verification: OK" in run(*command)
        value_file.write_bytes(value[::-1])
        assert subprocess.run(command, capture_output=True, check=False).returncode != 0


def test_qpdf_finds_no_fault_and_poppler_takes_out_what_was_kept(stamped, tmp_path):
    sheet, out = tmp_path / "sheet.pdf", tmp_path / "handover.json"
    sheet.write_bytes(stamped.pdf)
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", sheet)
    run("pdfdetach", "-save", "1", "-o", out, sheet)
    assert out.read_bytes() == stamped.snapshot.to_json()


def test_pdfsig_calls_every_signature_valid_and_every_signer_trusted(stamped, tmp_path):
    sheet, nss = tmp_path / "sheet.pdf", tmp_path / "nss"
    sheet.write_bytes(stamped.pdf)
    nss.mkdir()
    run("certutil", "-N", "-d", f"sql:{nss}", "--empty-password")
    run("certutil", "-A", "-d", f"sql:{nss}", "-n", "root", "-t", "CT,C,C", "-i", stamped.root)
    said = run("pdfsig", "-nssdir", f"sql:{nss}", sheet)
    signers = len(SIGNERS[stamped.snapshot.kind])
    assert said.count("Signature Validation: Signature is Valid.") == signers
    assert said.count("Certificate Validation: Certificate is Trusted.") == signers
    assert said.count("Total document signed") == 1


def test_preflight_finds_only_what_the_third_part_allows(stamped, tmp_path):
    sheet = tmp_path / "sheet.pdf"
    sheet.write_bytes(stamped.pdf)
    found = faults_of(sheet)
    assert found, "a file with an attachment is never PDF/A-1b"
    assert [each for each in found if not is_allowed(*each)] == []


def test_pdfua_finds_nothing_among_the_rules_a_machine_can_check(stamped, tmp_path):
    sheet = tmp_path / "sheet.pdf"
    sheet.write_bytes(stamped.pdf)
    assert "errors=0 warnings=0" in run(sys.executable, "-m", "pdfua", "check", sheet)


def test_zbar_reads_the_code_of_a_page_as_coarse_as_a_screen(stamped, tmp_path):
    """At 96 to the inch, as a page stands on a screen; at 150 as an office's scanner sends it."""
    sheet = tmp_path / "sheet.pdf"
    sheet.write_bytes(stamped.pdf)
    for dpi in ("96", "150"):
        run("pdftoppm", "-png", "-singlefile", "-r", dpi, sheet, tmp_path / dpi)
        command = ["zbarimg", "--quiet", "--raw", tmp_path / f"{dpi}.png"]
        read = subprocess.run(command, capture_output=True, check=True)
        assert read.stdout.decode().strip() == stamped.snapshot.check_url


def outloud(sheet: Path) -> str:
    """Return what the checker says of the checkpoints of ISO 14289-1.

    Its other layer guesses at meaning: of a table with as many headings as cells it says that they
    are shredded, and of a signature that its words are no one's, which its field reads out.
    """
    command = [OUTLOUD, "--layer", "conformance", sheet]
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout


def test_outloud_passes_every_checkpoint_that_a_machine_can_check(stamped, tmp_path):
    sheet = tmp_path / "sheet.pdf"
    sheet.write_bytes(stamped.pdf)
    said = outloud(sheet)
    assert said.startswith("PASS"), said
    assert int(re.search(r"PDF/UA-1 checkpoints: (\d+) pass", said)[1]) >= 14


def test_outloud_does_find_a_page_that_no_tag_leads_through(stamped, tmp_path):
    import pikepdf

    sheet, broken = tmp_path / "sheet.pdf", tmp_path / "broken.pdf"
    sheet.write_bytes(stamped.pdf)
    with pikepdf.open(sheet) as document:
        del document.Root.StructTreeRoot
        document.save(broken)
    assert outloud(broken).startswith("FAIL")
