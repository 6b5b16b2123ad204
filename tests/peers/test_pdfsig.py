"""Programs that know nothing of ours judge the signed sheets: poppler, NSS, qpdf, OpenSSL."""

import re
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest

from referral.clock import utc_now
from tests.features.sheets.sample import Signed, signed_sheet
from tests.features.sheets.test_verify import changed_by_update

BYTE_RANGE = re.compile(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)\s*\]")


def run(*command: str | Path, **more) -> str:
    done = subprocess.run(list(map(str, command)), capture_output=True, check=True, **more)
    return done.stdout.decode() + done.stderr.decode()


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    made_at = utc_now().replace(microsecond=0) - timedelta(hours=1)
    return signed_sheet(tmp_path_factory.mktemp("peer") / "authority", made_at=made_at)


@pytest.fixture
def sheet(signed: Signed, tmp_path: Path) -> Path:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(signed.twice)
    return path


@pytest.fixture
def trusting(signed: Signed, tmp_path: Path) -> str:
    """Return an NSS database that holds our root."""
    folder, root = tmp_path / "nss", tmp_path / "root.pem"
    folder.mkdir()
    root.write_bytes(signed.authority.root_pem)
    run("certutil", "-N", "-d", f"sql:{folder}", "--empty-password")
    run("certutil", "-A", "-d", f"sql:{folder}", "-n", "root", "-t", "CT,C,C", "-i", root)
    return f"sql:{folder}"


def test_pdfsig_calls_both_signatures_valid_and_both_signers_trusted(sheet, trusting):
    said = run("pdfsig", "-nssdir", trusting, sheet)
    assert said.count("Signature Validation: Signature is Valid.") == 2
    assert said.count("Certificate Validation: Certificate is Trusted.") == 2
    assert said.count("Total document signed") == 1
    assert said.count("Signature Type: ETSI.CAdES.detached") == 2
    assert "Common Name: Ines Corvane" in said
    assert "Common Name: Odd Brackley" in said


def test_pdfsig_sees_a_flipped_byte(signed, sheet, trusting):
    data = bytearray(signed.twice)
    data[data.index(b"/EmbeddedFile") + 3] ^= 1
    sheet.write_bytes(bytes(data))
    said = run("pdfsig", "-nssdir", trusting, sheet)
    assert said.count("Signature Validation: Digest Mismatch.") == 2


def test_pdfsig_alone_is_not_enough_for_a_page_painted_over(signed, sheet, trusting):
    sheet.write_bytes(changed_by_update(signed.twice))
    said = run("pdfsig", "-nssdir", trusting, sheet)
    assert said.count("Signature Validation: Signature is Valid.") == 2
    assert said.count("Not total document signed") == 2


@pytest.mark.parametrize("stage", ["unsigned", "once", "twice"])
def test_qpdf_finds_no_fault(signed, tmp_path, stage):
    path = tmp_path / f"{stage}.pdf"
    path.write_bytes(getattr(signed, stage))
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", path)


def test_openssl_verifies_both_signatures(signed, tmp_path):
    root, content, der = (tmp_path / name for name in ("root.pem", "content", "cms.der"))
    root.write_bytes(signed.authority.root_pem)
    ranges = list(BYTE_RANGE.finditer(signed.twice))
    assert len(ranges) == 2
    for found in ranges:
        start, length, after, rest = map(int, found.groups())
        content.write_bytes(
            signed.twice[start : start + length] + signed.twice[after : after + rest]
        )
        padded = bytes.fromhex(signed.twice[start + length + 1 : after - 1].decode())
        der.write_bytes(padded[: der_length(padded)])
        said = run(
            "openssl",
            "cms",
            "-verify",
            "-binary",
            "-cades",
            "-purpose",
            "any",
            "-inform",
            "DER",
            "-in",
            der,
            "-content",
            content,
            "-CAfile",
            root,
            "-out",
            "/dev/null",
        )
        assert "CAdES Verification successful" in said


def der_length(padded: bytes) -> int:
    """Return the length of the DER value at the start, its own header included."""
    first = padded[1]
    if first < 0x80:
        return 2 + first
    count = first & 0x7F
    return 2 + count + int.from_bytes(padded[2 : 2 + count], "big")


def test_the_page_differs_after_the_second_signature_only_inside_its_box(signed, tmp_path):
    """Render the file as first signed and the whole file; only the farrier's box may differ."""
    from PIL import Image, ImageChops

    pictures = []
    for name in ("once", "twice"):
        pdf = tmp_path / f"{name}.pdf"
        pdf.write_bytes(getattr(signed, name))
        run("pdftoppm", "-r", "50", "-gray", pdf, tmp_path / name)
        pictures.append([Image.open(page) for page in sorted(tmp_path.glob(f"{name}-*.pgm"))])
    boxes = [
        ImageChops.difference(before, after).getbbox()
        for before, after in zip(*pictures, strict=True)
    ]
    assert all(box is None for box in boxes[:-1])
    left, _, right, _ = boxes[-1]
    width = pictures[0][-1].width
    assert left > width / 2 - 2
    assert right < width
