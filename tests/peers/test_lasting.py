"""Sheets that carry what a later check needs, judged by poppler, NSS, qpdf, PDFBox and OpenSSL."""

import io
import subprocess
import sys
from pathlib import Path

import pikepdf
import pytest

from tests.features.sheets.lasting_sheet import Lasting, a_desk, signed_by_both
from tests.peers.test_archive import faults_of, is_allowed
from tests.peers.test_pdfsig import run

pytestmark = pytest.mark.enable_socket


@pytest.fixture(scope="module")
def lasting(tmp_path_factory: pytest.TempPathFactory) -> Lasting:
    with a_desk(tmp_path_factory.mktemp("lasting")) as desk:
        return signed_by_both(desk)


@pytest.fixture
def sheet(lasting: Lasting, tmp_path: Path) -> Path:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(lasting.twice)
    return path


@pytest.fixture
def taken_out(lasting: Lasting, tmp_path: Path) -> dict[str, list[Path]]:
    """Return the certificates and lists in the file as pikepdf takes them out of it."""
    found: dict[str, list[Path]] = {"Certs": [], "CRLs": []}
    with pikepdf.open(io.BytesIO(lasting.twice)) as document:
        for kind, files in found.items():
            for n, part in enumerate(document.Root.DSS[f"/{kind}"]):
                der, pem = tmp_path / f"{kind}{n}.der", tmp_path / f"{kind}{n}.pem"
                der.write_bytes(part.read_bytes())
                program = "x509" if kind == "Certs" else "crl"
                run("openssl", program, "-inform", "DER", "-in", der, "-out", pem)
                files.append(pem)
    return found


def subject_of(certificate: Path) -> str:
    return run("openssl", "x509", "-in", certificate, "-noout", "-subject").strip()


def test_pdfsig_calls_both_signatures_valid_and_trusted_as_before(lasting, sheet, tmp_path):
    nss, root = tmp_path / "nss", tmp_path / "root.pem"
    nss.mkdir()
    root.write_bytes(lasting.desk.sheet.authority.root_pem)
    run("certutil", "-N", "-d", f"sql:{nss}", "--empty-password")
    run("certutil", "-A", "-d", f"sql:{nss}", "-n", "root", "-t", "CT,C,C", "-i", root)
    said = run("pdfsig", "-nssdir", f"sql:{nss}", sheet)
    assert said.count("Signature Validation: Signature is Valid.") == 2
    assert said.count("Certificate Validation: Certificate is Trusted.") == 2
    # what was added last stands after the last signature, and is signed by its issuers alone
    assert said.count("Not total document signed") == 2


def test_qpdf_finds_no_fault(lasting, tmp_path):
    for stage in ("once", "twice"):
        path = tmp_path / f"{stage}.pdf"
        path.write_bytes(getattr(lasting, stage))
        assert "No syntax or stream encoding errors found" in run("qpdf", "--check", path)


def test_preflight_finds_only_what_the_third_part_allows(sheet):
    found = faults_of(sheet)
    assert found, "a file with an attachment is never PDF/A-1b"
    assert [each for each in found if not is_allowed(*each)] == []


def test_pdfua_finds_nothing_among_the_rules_a_machine_can_check(sheet):
    said = run(sys.executable, "-m", "pdfua", "check", sheet)
    assert "errors=0 warnings=0" in said


def test_what_is_added_after_a_signature_changes_no_pixel(lasting, tmp_path):
    """Cut the file where each signature ends, and render both (poppler)."""
    for stage in ("once", "twice"):
        whole = getattr(lasting, stage)
        cut = whole.rindex(b"%%EOF", 0, len(whole) - 10) + 6
        pictures = []
        for name, data in (("signed", whole[:cut]), ("whole", whole)):
            (tmp_path / f"{name}.pdf").write_bytes(data)
            run("pdftoppm", "-r", "50", "-gray", tmp_path / f"{name}.pdf", tmp_path / name)
            pages = sorted(tmp_path.glob(f"{name}-*.pgm"))
            pictures.append([page.read_bytes() for page in pages])
        assert pictures[0] == pictures[1] != []


def test_openssl_finds_every_certificate_good_by_the_material_alone(lasting, taken_out, tmp_path):
    """`openssl verify -crl_check`, trusting one root, with the lists that were in the file."""
    lists = [word for each in taken_out["CRLs"] for word in ("-CRLfile", each)]
    (tmp_path / "ours.pem").write_bytes(lasting.desk.sheet.authority.root_pem)
    roots = {
        "Ines Corvane": tmp_path / "ours.pem",
        "Odd Brackley": tmp_path / "ours.pem",
        "Slow River Time": lasting.desk.time.root,
    }
    for name, root in roots.items():
        (certificate,) = [each for each in taken_out["Certs"] if name in subject_of(each)]
        whole = ("openssl", "verify", "-CAfile", root, "-crl_check", "-purpose", "any")
        assert run(*whole, *lists, certificate).strip().endswith(": OK")
        bare = subprocess.run(
            [*map(str, whole), str(certificate)], capture_output=True, check=False
        )
        assert b"unable to get certificate CRL" in bare.stderr


def test_openssl_finds_each_list_signed_by_a_certificate_in_the_file(taken_out, tmp_path):
    together = tmp_path / "all.pem"
    together.write_text("".join(each.read_text() for each in taken_out["Certs"]))
    for each in taken_out["CRLs"]:
        assert "verify OK" in run("openssl", "crl", "-in", each, "-CAfile", together, "-noout")
