"""Signature time stamps (PAdES B-T), from a real RFC 3161 responder, judged by others' programs."""

import io
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest
from asn1crypto import pem, x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from referral.clock import utc_now
from referral.errors import Invalid
from referral.sheets import stamping
from referral.sheets.copies import Issued
from referral.sheets.printing import field_name
from referral.sheets.signing import SigningAct, sign
from referral.sheets.stamping import InstanceStamper
from referral.sheets.verify import verify_pdf
from tests.features.sheets.sample import signed_sheet
from tests.features.sheets.time_authority import (
    MISBEHAVIOURS,
    NAME,
    a_time_authority,
    is_silent,
)

pytestmark = pytest.mark.enable_socket


@pytest.fixture(scope="module")
def unsigned(tmp_path_factory):
    """A sheet made now, for the responder's clock is the machine's."""
    made_at = utc_now().replace(microsecond=0) - timedelta(minutes=30)
    return signed_sheet(tmp_path_factory.mktemp("stamped") / "authority", made_at=made_at)


@pytest.fixture
def authority(tmp_path):
    with a_time_authority(tmp_path / "tsa") as running:
        yield running


def stamped(sheet, address, at=None, root=None):
    at = at or utc_now()
    stamper = InstanceStamper(address, at, root)
    act = SigningAct(field_name("vet"), True, "As printed", None, at)
    return sign(sheet.unsigned, sheet.authority, sheet.keys["vet"], act, stamper), stamper


def embedded(pdf):
    return PdfFileReader(io.BytesIO(pdf)).embedded_regular_signatures


def token_of(signature):
    """Return the time-stamp token and the signature value that it is over (RFC 3161, app. A)."""
    info = signature.signer_info
    (token,) = [
        each["values"][0]
        for each in info["unsigned_attrs"]
        if each["type"].native == "signature_time_stamp_token"
    ]
    return token.dump(), info["signature"].native


def test_openssl_verifies_the_token_over_the_signature_value(unsigned, authority, tmp_path):
    pdf, stamper = stamped(unsigned, authority.address)
    token, value = token_of(embedded(pdf)[0])
    (tmp_path / "token.der").write_bytes(token)
    (tmp_path / "value.bin").write_bytes(value)
    command = ["openssl", "ts", "-verify", "-token_in", "-in", "token.der", "-data", "value.bin"]
    command += ["-CAfile", str(authority.root)]
    said = subprocess.run(command, capture_output=True, cwd=tmp_path, check=True)
    assert b"Verification: OK" in said.stdout + said.stderr
    (tmp_path / "value.bin").write_bytes(value[::-1])
    other = subprocess.run(command, capture_output=True, cwd=tmp_path, check=False)
    assert other.returncode != 0
    assert (len(authority.asked), stamper.by) == (1, NAME)
    assert abs(stamper.at - utc_now()) < timedelta(minutes=1)


def certificate(path: Path):
    return x509.Certificate.load(pem.unarmor(path.read_bytes())[2])


def test_pyhanko_calls_signature_and_time_stamp_valid_and_trusted(unsigned, authority, tmp_path):
    pdf, _stamper = stamped(unsigned, authority.address)
    (tmp_path / "root.pem").write_bytes(unsigned.authority.root_pem)
    ours, theirs = certificate(tmp_path / "root.pem"), certificate(authority.root)
    status = validate_pdf_signature(
        embedded(pdf)[0],
        ValidationContext(trust_roots=[ours], allow_fetching=False),
        ts_validation_context=ValidationContext(trust_roots=[theirs], allow_fetching=False),
    )
    assert (status.intact, status.valid, status.trusted) == (True, True, True)
    stamp = status.timestamp_validity
    assert (stamp.intact, stamp.valid, stamp.trusted) == (True, True, True)


def test_the_check_says_when_and_by_whom_also_after_the_second_signature(unsigned, authority):
    once, stamper = stamped(unsigned, authority.address)
    second = SigningAct(field_name("farrier"), False, "As printed", None, utc_now())
    pdf = sign(
        once,
        unsigned.authority,
        unsigned.keys["farrier"],
        second,
        InstanceStamper(authority.address, utc_now()),
    )
    answer = verify_pdf(pdf, unsigned.authority.root_pem, unsigned.authority.crl(utc_now()))
    assert answer.exit_status == 0
    assert [each.timestamp_by for each in answer.signatures] == [NAME, NAME]
    assert answer.signatures[0].timestamp == stamper.at.isoformat()
    assert all(f"by {NAME}." in each for each in answer.says)


def test_a_token_that_was_spoiled_afterwards_is_none_and_nobody_is_trusted(unsigned, authority):
    pdf, _stamper = stamped(unsigned, authority.address)
    token, _value = token_of(embedded(pdf)[0])
    kept = next(each for each in (token.hex(), token.hex().upper()) if each.encode() in pdf)
    last = format(int(kept[-2:], 16) ^ 1, "02x")  # the end of the authority's own signature
    changed = pdf.replace(kept.encode(), (kept[:-2] + last).encode())
    assert changed != pdf
    (found,) = verify_pdf(changed, unsigned.authority.root_pem).signatures
    assert (found.intact, found.trusted, found.timestamp) == (True, False, None)


@pytest.mark.parametrize("misbehaviour", MISBEHAVIOURS)
def test_an_authority_that_misbehaves_gives_a_sentence_and_no_signature(
    unsigned, authority, monkeypatch, misbehaviour
):
    monkeypatch.setattr(stamping, "LONGEST_S", 0.5 if misbehaviour is not is_silent else 0.2)
    authority.misbehave = misbehaviour
    with pytest.raises(Invalid, match=r"^The time authority .* Nothing was signed; what you typed"):
        stamped(unsigned, authority.address)
    assert len(authority.asked) == 1


def test_where_a_root_is_named_only_its_stamps_are_taken(unsigned, authority, tmp_path):
    pdf, stamper = stamped(unsigned, authority.address, root=authority.root.read_bytes())
    assert stamper.by == NAME
    assert verify_pdf(pdf, unsigned.authority.root_pem).signatures[0].timestamp_by == NAME
    with a_time_authority(tmp_path / "other") as other:  # of the same name, by another root
        mine = authority.root.read_bytes()
        with pytest.raises(Invalid, match="a time stamp of somebody else"):
            stamped(unsigned, other.address, root=mine)
        both = mine + other.root.read_bytes()
        assert stamped(unsigned, other.address, root=both)[1].by == NAME


def test_a_stamp_of_an_authority_that_is_not_named_is_said_and_not_relied_on(
    unsigned, authority, tmp_path
):
    pdf, _stamper = stamped(unsigned, authority.address)
    root, mine = unsigned.authority.root_pem, authority.root.read_bytes()
    with a_time_authority(tmp_path / "other") as other:  # of the same name, by another root
        theirs = other.root.read_bytes()
    (found,) = verify_pdf(pdf, root, time_root_pem=mine).signatures
    assert (found.trusted, found.foreign_stamp) == (True, False)
    assert verify_pdf(pdf, root, time_root_pem=theirs + mine).signatures == (found,)
    answer = verify_pdf(pdf, root, time_root_pem=theirs)
    (found,) = answer.signatures
    assert (found.intact, found.trusted, found.foreign_stamp) == (True, False, True)
    assert (answer.exit_status, found.timestamp_by, found.spoiled_stamp) == (1, NAME, False)
    assert answer.says[0] == (
        f"Ines Corvane: intact, but the time stamp is of {NAME}, which is none of the time "
        "authorities that are trusted here; when this was signed is not shown."
    )


def test_a_certificate_that_its_signer_brought_does_not_make_up_for_a_foreign_stamp(
    unsigned, authority, tmp_path
):
    pdf, _stamper = stamped(unsigned, authority.address)
    with a_time_authority(tmp_path / "other") as other:
        theirs = other.root.read_bytes()
    serial = verify_pdf(pdf, None).signatures[0].serial

    def lookup(_sha256, _sheet_id):
        return Issued(here=True, own={serial: "Weir Signing"})

    assert verify_pdf(pdf, None, lookup=lookup).signatures[0].own
    assert not verify_pdf(pdf, None, lookup=lookup, time_root_pem=theirs).signatures[0].own


def test_nobody_at_the_address_gives_a_sentence_and_no_signature(unsigned):
    with pytest.raises(Invalid, match="did not answer"):
        stamped(unsigned, "http://127.0.0.1:9/")


def test_a_time_far_from_our_own_clock_is_refused(unsigned, authority):
    with pytest.raises(Invalid, match="one of them is wrong"):
        stamped(unsigned, authority.address, utc_now() - timedelta(minutes=6))
