"""A signer's own PKCS#12, made by openssl: judged, kept, signed with, and judged by others."""

import shutil
import subprocess
from datetime import timedelta

import pytest
from asn1crypto import pkcs12 as asn1
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import load_der_private_key

from referral.clock import utc_now
from referral.errors import Invalid, NotFound
from referral.sheets import opening
from referral.sheets.authority import Authority, Bearer
from referral.sheets.copies import Issued
from referral.sheets.models import OwnCertificate
from referral.sheets.own_certificates import (
    keep_certificate,
    own_certificate,
    own_key,
    remove_certificate,
)
from referral.sheets.pkcs12 import LARGEST_FILE, UNREADABLE, _key_faults, _rounds, read_pkcs12
from referral.sheets.printing import field_name
from referral.sheets.signing import SigningAct, sign
from referral.sheets.verify import verify_pdf
from tests.factories import a_cast
from tests.features.sheets.hostile import (
    VERY_MANY,
    a_bag_of,
    a_file,
    a_key_bag,
    hidden,
    in_the_open,
)
from tests.features.sheets.own import FIT, HOLDER, ISSUER, P256, PASSPHRASE, a_p12, packed
from tests.features.sheets.sample import signed_sheet
from tests.peers.test_pdfsig import BYTE_RANGE, der_length, run

KEY = b"k" * 32
NOW = utc_now() + timedelta(hours=1)
"""A little after the certificates of this run are made."""


def refused(data, passphrase=PASSPHRASE, now=None):
    with pytest.raises(Invalid) as caught:
        read_pkcs12(data, passphrase, now or NOW)
    assert list(caught.value.faults) == ["certificate"]
    return caught.value.message


@pytest.mark.parametrize(
    "key",
    [
        P256,
        ("ec", "-pkeyopt", "ec_paramgen_curve:P-384"),
        ("rsa:2048",),
    ],
)
def test_a_fit_certificate_is_read_with_its_key_and_what_came_with_it(tmp_path, key):
    own = read_pkcs12(a_p12(tmp_path, key=key), PASSPHRASE, NOW)
    assert (own.name, own.issuer) == (HOLDER, ISSUER)
    leaf = x509.load_pem_x509_certificate((tmp_path / "own.pem").read_bytes())
    assert own.serial == f"{leaf.serial_number:x}"
    assert x509.load_pem_x509_certificate(own.certificate_pem.encode()) == leaf
    assert load_der_private_key(own.private_key, None).public_key() == leaf.public_key()
    assert own.chain_pem.count("BEGIN CERTIFICATE") == 1
    assert own.expires_at == leaf.not_valid_after_utc


@pytest.mark.parametrize(
    ("made", "said"),
    [
        ({"key": ("ed25519",)}, "This kind of key cannot sign here"),
        ({"key": ("rsa:1024",)}, "An RSA key of 1024 bits cannot sign here"),
        ({"key": ("ec", "-pkeyopt", "ec_paramgen_curve:secp256k1")}, "A key on secp256k1 cannot"),
        ({"extensions": "basicConstraints=CA:true\n"}, "is an authority’s"),
        ({"extensions": "keyUsage=keyEncipherment\n"}, "not for signing, by its key usage"),
        ({"extensions": FIT + "extendedKeyUsage=serverAuth\n"}, "not for signing documents"),
        ({"writing": ("-iter", "3000000")}, "takes too long to open"),
        ({"writing": ("-maciter", "-iter", "1", "-nokeys")}, "no certificate with its private key"),
        ({"subject": "/CN=蹄"}, "U+8E44"),
    ],
)
def test_an_unfit_one_is_refused_with_its_reason(tmp_path, made, said):
    data = a_p12(tmp_path, **made)
    with pytest.raises(Invalid) as caught:
        read_pkcs12(data, PASSPHRASE, NOW)
    assert said in caught.value.message


@pytest.mark.parametrize("purpose", ["emailProtection", "1.3.6.1.5.5.7.3.36"])
def test_a_certificate_for_documents_or_mail_is_taken(tmp_path, purpose):
    data = a_p12(tmp_path, extensions=FIT + f"extendedKeyUsage={purpose}\n")
    assert read_pkcs12(data, PASSPHRASE, NOW).name == HOLDER


def test_it_counts_from_its_first_day_to_its_last(tmp_path):
    data = a_p12(tmp_path, days="30")
    assert "This certificate begins on" in refused(data, now=NOW - timedelta(days=2))
    assert "This certificate ended on" in refused(data, now=NOW + timedelta(days=31))


def test_what_does_not_open_is_told_plainly(tmp_path):
    data = a_p12(tmp_path)
    assert refused(data, "another") == UNREADABLE
    for broken in (b"", b"\x30\x03\x02\x01", data[:-40], b"%PDF-1.7", data + b"\0"):
        assert refused(broken) == UNREADABLE
    assert "never larger" in refused(bytes(LARGEST_FILE + 1))


def test_a_key_that_is_not_the_certificates_is_refused(tmp_path):
    a_p12(tmp_path)
    leaf = x509.load_pem_x509_certificate((tmp_path / "own.pem").read_bytes())
    other = ec.generate_private_key(ec.SECP256R1())
    assert list(_key_faults(other, leaf)) == [
        "The certificate in this file is not that of its key."
    ]


def test_rounds_that_cannot_be_counted_are_not_done(tmp_path):
    file = asn1.Pfx.load(a_p12(tmp_path))
    assert list(_rounds(file.dump())) == [2048, 2048, 2048]  # openssl's own choice
    pbmac1 = "1.2.840.113549.1.5.14"  # RFC 9579: its rounds stand elsewhere
    file["mac_data"]["mac"]["digest_algorithm"]["algorithm"] = pbmac1
    data = file.dump(force=True)
    with pytest.raises(ValueError, match="unknown way"):
        list(_rounds(data))
    assert refused(data) == UNREADABLE


def test_rounds_are_counted_in_bags_inside_bags_too(tmp_path):
    nested = a_bag_of(a_key_bag(1_500_000), a_bag_of(a_key_bag(500_001)))
    data = a_file(tmp_path, in_the_open(nested), passphrase=PASSPHRASE)
    assert sum(_rounds(data)) == 2_000_002
    assert "takes too long to open" in refused(data)
    for _ in range(8):
        nested = a_bag_of(nested)
    assert refused(a_file(tmp_path, in_the_open(nested), passphrase=PASSPHRASE)) == UNREADABLE


def test_fewer_rounds_than_none_do_not_pay_for_many(tmp_path):
    bags = a_key_bag(VERY_MANY), a_key_bag(-VERY_MANY)
    assert refused(a_file(tmp_path, in_the_open(*bags), passphrase=PASSPHRASE)) == UNREADABLE


def test_rounds_that_only_the_passphrase_shows_end_with_the_time_that_they_are_given(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(opening, "LONGEST_CPU_S", 1)
    data = a_file(tmp_path, hidden(PASSPHRASE, a_key_bag(VERY_MANY)), passphrase=PASSPHRASE)
    assert sum(_rounds(data)) == 2
    assert "takes too long to open" in refused(data)
    few = a_file(tmp_path, hidden(PASSPHRASE, a_key_bag(1000)), passphrase=PASSPHRASE)
    assert refused(few) == UNREADABLE  # so it was the rounds


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("own")
    sheet = signed_sheet(folder / "authority", made_at=NOW - timedelta(hours=2))
    return folder, sheet, a_p12(folder / "p12")


def test_it_is_kept_encrypted_used_and_on_removal_its_key_is_gone(database, made):
    _folder, _sheet, data = made
    own = read_pkcs12(data, PASSPHRASE, NOW)
    bearer = Bearer("Ines Corvane", "vet", "Marlhope")
    with database.transaction() as session:
        person = a_cast(session).vet.id
        assert own_key(session, person, bearer, NOW) is None
        keep_certificate(session, person, own, KEY, NOW)
        first = own_certificate(session, person)
        assert own.private_key.hex() not in str(vars(first))
        keep_certificate(session, person, own, KEY, NOW)
        assert (first.removed_at, first.wrapped_key) == (NOW, None)
        kept = own_key(session, person, bearer, NOW)
        assert (kept.issuer, kept.bearer) == (ISSUER, bearer)
        with pytest.raises(Invalid, match="Your own certificate ended on"):
            own_key(session, person, bearer, own.expires_at)
        remove_certificate(session, person, NOW)
        assert own_key(session, person, bearer, NOW) is None
        assert {row.wrapped_key for row in session.query(OwnCertificate)} == {None}
        with pytest.raises(NotFound):
            remove_certificate(session, person, NOW)


@pytest.fixture
def signed(database, made, tmp_path):
    """A sheet that the vet signed with their own certificate and the farrier with one of ours."""
    _folder, sheet, data = made
    own = read_pkcs12(data, PASSPHRASE, NOW)
    with database.transaction() as session:
        person = a_cast(session).vet.id
        keep_certificate(session, person, own, KEY, NOW)
        key = own_key(session, person, Bearer("Ines Corvane", "vet", "Marlhope"), NOW)
    authority: Authority = sheet.authority
    first = SigningAct(field_name("vet"), True, "As printed", None, NOW)
    once = sign(sheet.unsigned, authority, key, first)
    second = SigningAct(field_name("farrier"), False, "As printed", None, NOW)
    twice = sign(once, authority, sheet.keys["farrier"], second)
    (tmp_path / "sheet.pdf").write_bytes(twice)
    return authority, own, twice


def test_pdfsig_names_the_own_issuer_and_trusts_it_only_by_its_own_root(signed, made, tmp_path):
    folder = made[0]
    nss = tmp_path / "nss"
    nss.mkdir()
    run("certutil", "-N", "-d", f"sql:{nss}", "--empty-password")
    root = folder / "p12" / "issuer.pem"
    run("certutil", "-A", "-d", f"sql:{nss}", "-n", "own", "-t", "CT,C,C", "-i", root)
    said = run("pdfsig", "-nssdir", f"sql:{nss}", tmp_path / "sheet.pdf")
    first, second = said.split("Signature #2")
    assert f"Common Name: {HOLDER}" in first
    for part in (first, second):
        assert "Signature is Valid." in part
    assert "Certificate is Trusted." in first
    assert "Certificate is Trusted." not in second


def test_openssl_verifies_the_signature_by_the_own_issuer_alone(signed, made, tmp_path):
    folder, (authority, _own, pdf) = made[0], signed
    start, length, after, rest = map(int, next(BYTE_RANGE.finditer(pdf)).groups())
    (tmp_path / "content").write_bytes(pdf[start : start + length] + pdf[after : after + rest])
    padded = bytes.fromhex(pdf[start + length + 1 : after - 1].decode())
    (tmp_path / "cms").write_bytes(padded[: der_length(padded)])
    (tmp_path / "ours.pem").write_bytes(authority.root_pem)
    for root, is_good in ((folder / "p12" / "issuer.pem", True), (tmp_path / "ours.pem", False)):
        done = subprocess.run(
            ["openssl", "cms", "-verify", "-binary", "-cades", "-purpose", "any", "-inform", "DER",
             "-in", tmp_path / "cms", "-content", tmp_path / "content", "-CAfile", root,
             "-out", "/dev/null"], capture_output=True, check=False,
        )  # fmt: skip
        assert (done.returncode == 0) is is_good, done.stderr


def test_the_check_names_the_issuer_and_claims_nothing_for_our_authority(signed):
    authority, own, pdf = signed
    on_record = Issued(here=True, own={own.serial: own.issuer})
    answer = verify_pdf(pdf, authority.root_pem, lookup=lambda *_: on_record)
    first, second = answer.signatures
    assert (first.own, first.trusted, first.issuer) == (True, False, ISSUER)
    assert (first.who, first.printed, first.role) == (HOLDER, "Ines Corvane", "vet")
    assert (second.own, second.trusted) == (False, True)
    assert answer.exit_status == 0
    assert f"issued by {ISSUER}; this instance’s authority says nothing of it." in answer.says[0]
    for unknown in (None, lambda *_: Issued(here=False, own={own.serial: own.issuer})):
        stray = verify_pdf(pdf, authority.root_pem, lookup=unknown)
        assert stray.exit_status == 1
        assert "not one this authority vouches for" in stray.says[0]


def test_the_box_says_the_name_as_printed_and_whose_certificate_it_is(signed, tmp_path):
    assert shutil.which("pdftotext")
    said = " ".join(run("pdftotext", "-layout", tmp_path / "sheet.pdf", "-").split())
    assert f"Certificate of {HOLDER}, issued by {ISSUER}" in said


def test_a_file_written_in_an_old_way_is_read_or_told(tmp_path):
    a_p12(tmp_path)
    old = packed(tmp_path, ("-certpbe", "PBE-SHA1-3DES", "-keypbe", "PBE-SHA1-3DES"))
    assert read_pkcs12(old, PASSPHRASE, NOW).name == HOLDER
