"""The instance's own authority: kept, limited, withdrawn, never readable at rest."""

import stat
import subprocess
from datetime import timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import load_der_private_key

from referral.clock import utc_now
from referral.errors import SettingsFault
from referral.sheets.authority import Authority, load_instance_key
from referral.storage.wrapped import unwrap, wrap
from tests.features.sheets.sample import MADE_AT
from tests.features.sheets.time_authority import openssl

KEY = bytes(range(32))


@pytest.fixture
def authority(tmp_path):
    return Authority.load_or_create(tmp_path / "authority", KEY, "Marlhope", MADE_AT)


def test_it_is_made_once_and_found_again(authority, tmp_path):
    again = Authority.load_or_create(tmp_path / "authority", KEY, "Another name", MADE_AT)
    assert again.root_pem == authority.root_pem


def test_a_wrong_instance_key_does_not_open_it(authority, tmp_path):
    with pytest.raises(SettingsFault, match="instance key is not the one"):
        Authority.load_or_create(tmp_path / "authority", bytes(32), "Marlhope", MADE_AT)


def test_a_certificate_says_who_and_is_limited(authority):
    issued = authority.issue("p-1", "Zoë Ångström", "vet", "Łódź Practice", MADE_AT)
    certificate = x509.load_pem_x509_certificate(issued.certificate_pem.encode())
    root = x509.load_pem_x509_certificate(authority.root_pem)
    certificate.verify_directly_issued_by(root)
    named = {part.oid: part.value for part in certificate.subject}
    assert named[x509.NameOID.COMMON_NAME] == "Zoë Ångström"
    assert named[x509.NameOID.TITLE] == "vet"
    assert named[x509.NameOID.ORGANIZATION_NAME] == "Łódź Practice"
    assert named[x509.NameOID.SERIAL_NUMBER] == "p-1"
    assert certificate.not_valid_after_utc == issued.expires_at == MADE_AT + timedelta(days=397)
    assert f"{certificate.serial_number:x}" == issued.serial
    limits = certificate.extensions.get_extension_for_class(x509.BasicConstraints).value
    assert not limits.ca
    usage = certificate.extensions.get_extension_for_class(x509.KeyUsage).value
    assert usage.content_commitment
    assert not usage.key_cert_sign


def test_keys_are_on_p256_and_open_only_with_the_instance_key(authority):
    issued = authority.issue("p-1", "Ines Corvane", "vet", None, MADE_AT)
    key = load_der_private_key(authority.open_key(issued), None)
    assert isinstance(key.curve, ec.SECP256R1)
    certificate = x509.load_pem_x509_certificate(issued.certificate_pem.encode())
    assert certificate.public_key() == key.public_key()


def test_no_private_key_lies_open_on_the_disk(authority, tmp_path):
    for file in (tmp_path / "authority").iterdir():
        assert b"PRIVATE KEY" not in file.read_bytes()
    assert stat.S_IMODE((tmp_path / "authority" / "root.key").stat().st_mode) == 0o600


def test_withdrawn_certificates_are_listed_and_signed_for(authority, tmp_path):
    first = authority.issue("p-1", "Ines Corvane", "vet", None, MADE_AT)
    second = authority.issue("p-2", "Odd Brackley", "farrier", None, MADE_AT)
    authority.revoke(first.serial, "left", MADE_AT)
    authority.revoke(first.serial, "key_compromise", MADE_AT + timedelta(days=9))
    again = Authority.load_or_create(tmp_path / "authority", KEY, "Marlhope", MADE_AT)
    listed = x509.load_pem_x509_crl(again.crl(MADE_AT + timedelta(days=10)))
    root = x509.load_pem_x509_certificate(authority.root_pem)
    assert listed.is_signature_valid(root.public_key())
    assert listed.get_revoked_certificate_by_serial_number(int(second.serial, 16)) is None
    entry = listed.get_revoked_certificate_by_serial_number(int(first.serial, 16))
    assert entry.revocation_date_utc == MADE_AT
    reason = entry.extensions.get_extension_for_class(x509.CRLReason).value.reason
    assert reason is x509.ReasonFlags.key_compromise


def test_openssl_reads_the_list_and_certificates_say_where_it_is(authority, tmp_path):
    plain = authority.issue("p-1", "Ines Corvane", "vet", None, utc_now())
    authority.list_address = "https://yard.example.org/authority/withdrawn.crl"
    issued = authority.issue("p-1", "Ines Corvane", "vet", None, utc_now())
    (tmp_path / "own.pem").write_text(issued.certificate_pem)
    (tmp_path / "plain.pem").write_text(plain.certificate_pem)
    (tmp_path / "root.pem").write_bytes(authority.root_pem)
    (tmp_path / "list.pem").write_bytes(authority.crl(utc_now()))
    said = openssl("x509", "-in", tmp_path / "own.pem", "-noout", "-ext", "crlDistributionPoints")
    assert b"URI:https://yard.example.org/authority/withdrawn.crl" in said
    said = openssl("x509", "-in", tmp_path / "plain.pem", "-noout", "-text")
    assert b"CRL Distribution" not in said
    said = openssl("crl", "-in", tmp_path / "list.pem", "-noout", "-text")
    assert b"X509v3 CRL Number" in said  # both asked for by RFC 5280, 5.2
    assert b"X509v3 Authority Key Identifier" in said
    checking = ("verify", "-CAfile", tmp_path / "root.pem", "-CRLfile", tmp_path / "list.pem",
                "-crl_check", "-purpose", "any", tmp_path / "own.pem")  # fmt: skip
    assert b"OK" in openssl(*checking)
    authority.revoke(issued.serial, "left", utc_now() - timedelta(minutes=1))
    (tmp_path / "list.pem").write_bytes(authority.crl(utc_now()))
    with pytest.raises(subprocess.CalledProcessError) as caught:
        openssl(*checking)
    assert b"certificate revoked" in caught.value.stdout + caught.value.stderr


def test_the_instance_key_file_is_made_for_its_owner_alone(tmp_path):
    path = tmp_path / "keys" / "instance.key"
    key = load_instance_key(path)
    assert len(key) == 32
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert load_instance_key(path) == key


def test_an_instance_key_that_others_may_read_is_refused(tmp_path):
    path = tmp_path / "instance.key"
    load_instance_key(path)
    path.chmod(0o640)
    with pytest.raises(SettingsFault, match="chmod 600"):
        load_instance_key(path)


@pytest.mark.parametrize("content", [b"", b"c2hvcnQ=", b"not base64!"])
def test_a_broken_instance_key_is_named(tmp_path, content):
    path = tmp_path / "instance.key"
    path.write_bytes(content)
    path.chmod(0o600)
    with pytest.raises(SettingsFault, match="32 bytes"):
        load_instance_key(path)


def test_a_wrapped_secret_is_bound_to_its_purpose():
    wrapped = wrap(b"secret", KEY, "one")
    assert unwrap(wrapped, KEY, "one") == b"secret"
    assert wrap(b"secret", KEY, "one") != wrapped
    with pytest.raises(SettingsFault):
        unwrap(wrapped, KEY, "two")
