"""The instance's own certificate authority: root, signers' certificates, those withdrawn.

Private keys are only ever stored wrapped by the instance key.
"""

import base64
import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID, ObjectIdentifier

from referral.errors import SettingsFault
from referral.storage.wrapped import unwrap, wrap

KEY_BYTES = 32
ROOT_YEARS = 20
PERSON_DAYS = 397
CLOCK_SLACK = timedelta(minutes=5)
"""Certificates are valid from a little before they are made, for machines whose clock lags."""

DOCUMENT_SIGNING = ObjectIdentifier("1.3.6.1.5.5.7.3.36")
"""Extended key usage for signing documents. Source: RFC 9336."""

REASONS = {
    "left": x509.ReasonFlags.affiliation_changed,
    "renewed": x509.ReasonFlags.superseded,
    "key_compromise": x509.ReasonFlags.key_compromise,
}


@dataclass(frozen=True, slots=True)
class Bearer:
    """Who signs, as a sheet prints them: name, role, organisation."""

    name: str
    role: str
    organisation: str | None


@dataclass(frozen=True, slots=True)
class IssuedKey:
    """A person's certificate and their private key, wrapped by the instance key.

    Where they brought it themselves, ``issuer`` is who issued it, ``chain_pem`` what came with
    it, ``purpose`` what the key is wrapped for, and ``bearer`` who they are here.
    """

    serial: str
    certificate_pem: str
    wrapped_key: str
    expires_at: datetime
    purpose: str = ""
    chain_pem: str = ""
    issuer: str | None = None
    bearer: Bearer | None = None


def load_instance_key(path: Path) -> bytes:
    """Return the instance key from its file, which is made, readable by its owner alone, if new.

    Raises
    ------
    SettingsFault
        If others may read the file, or it does not hold 32 bytes in base64.
    """
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        _write_private(path, base64.b64encode(secrets.token_bytes(KEY_BYTES)) + b"\n")
    if path.stat().st_mode & 0o077:
        raise SettingsFault(f"Others may read {path.name}: run chmod 600 on it.")
    try:
        key = base64.b64decode(path.read_bytes().strip(), validate=True)
    except ValueError:
        key = b""
    if len(key) != KEY_BYTES:
        raise SettingsFault(f"{path.name} does not hold an instance key of 32 bytes in base64.")
    return key


def key_purpose(serial: str) -> str:
    """Return what a person's wrapped key is bound to."""
    return f"signing key {serial}"


class Authority:
    """A root certificate with its key, the issuer of every signer's certificate.

    ``list_address`` is where anybody finds its list of withdrawn certificates; new certificates
    say so, where there is one.
    """

    def __init__(
        self,
        folder: Path,
        instance_key: bytes,
        root: x509.Certificate,
        key: ec.EllipticCurvePrivateKey,
    ) -> None:
        self._folder = folder
        self._instance_key = instance_key
        self._root = root
        self._key = key
        self.list_address: str | None = None

    @classmethod
    def load_or_create(
        cls, folder: Path, instance_key: bytes, name: str, now: datetime
    ) -> "Authority":
        """Return the authority kept in the folder; a new one is made if there is none.

        Raises
        ------
        SettingsFault
            If the root's key cannot be opened with this instance key.
        """
        if not (folder / "root.pem").exists():
            _create_root(folder, instance_key, name, now)
        root = x509.load_pem_x509_certificate((folder / "root.pem").read_bytes())
        wrapped = (folder / "root.key").read_text()
        return cls(folder, instance_key, root, _open_key(wrapped, instance_key, "root"))

    @property
    def root_pem(self) -> bytes:
        """The root certificate, which anyone may have."""
        return self._root.public_bytes(serialization.Encoding.PEM)

    def issue(
        self, person_id: str, name: str, role: str, organisation: str | None, now: datetime
    ) -> IssuedKey:
        """Return a new key and certificate for a person in a role, valid for thirteen months."""
        key = ec.generate_private_key(ec.SECP256R1())
        number = x509.random_serial_number()
        serial = f"{number:x}"
        expires = min(now + timedelta(days=PERSON_DAYS), self._root.not_valid_after_utc)
        builder = (
            x509.CertificateBuilder()
            .subject_name(_person_name(person_id, name, role, organisation))
            .issuer_name(self._root.subject)
            .public_key(key.public_key())
            .serial_number(number)
            .not_valid_before(now - CLOCK_SLACK)
            .not_valid_after(expires)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_usage(sign_documents=True), critical=True)
            .add_extension(x509.ExtendedKeyUsage(list(_PERSON_USES)), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), False)
            .add_extension(self._key_identifier, False)
        )
        if self.list_address:
            builder = builder.add_extension(_found_at(self.list_address), False)
        certificate = builder.sign(self._key, hashes.SHA256())
        return IssuedKey(
            serial,
            certificate.public_bytes(serialization.Encoding.PEM).decode(),
            _wrapped(key, self._instance_key, key_purpose(serial)),
            expires,
        )

    def open_key(self, issued: IssuedKey) -> bytes:
        """Return a person's private key as DER (PKCS #8), for the moment of signing only.

        Raises
        ------
        SettingsFault
            If it was wrapped by another instance key.
        """
        purpose = issued.purpose or key_purpose(issued.serial)
        return unwrap(issued.wrapped_key, self._instance_key, purpose)

    def revoke(self, serial: str, reason: str, now: datetime) -> None:
        """Withdraw a certificate from now on; ``reason`` is left, renewed or key_compromise.

        Withdrawn again, it keeps its earlier date; that its key is stolen can be added later.

        Raises
        ------
        KeyError
            If the reason is none of these.
        """
        withdrawn = self._withdrawn()
        code = REASONS[reason].value
        entry = withdrawn.setdefault(serial, {"at": now.astimezone(UTC).isoformat()})
        if reason == "key_compromise" or "reason" not in entry:
            entry["reason"] = code
        _write_private(self._folder / "withdrawn.json", json.dumps(withdrawn, indent=1).encode())

    @property
    def _key_identifier(self) -> x509.AuthorityKeyIdentifier:
        return x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key())

    def crl(
        self, now: datetime, *, left: Mapping[str, datetime] | None = None, valid_days: int = 30
    ) -> bytes:
        """Return the signed list of withdrawn certificates (PEM), which anyone may have.

        ``left`` are the serials of those who left, with when they did.
        """
        builder = (
            x509.CertificateRevocationListBuilder()
            .issuer_name(self._root.subject)
            .last_update(now)
            .next_update(now + timedelta(days=valid_days))
            .add_extension(self._key_identifier, False)
            .add_extension(x509.CRLNumber(int(now.timestamp())), False)
        )
        gone = {
            serial: {"at": at.astimezone(UTC).isoformat(), "reason": REASONS["left"].value}
            for serial, at in (left or {}).items()
        }
        for serial, entry in {**gone, **self._withdrawn()}.items():
            revoked = (
                x509.RevokedCertificateBuilder()
                .serial_number(int(serial, 16))
                .revocation_date(datetime.fromisoformat(entry["at"]))
                .add_extension(x509.CRLReason(x509.ReasonFlags(entry["reason"])), critical=False)
                .build()
            )
            builder = builder.add_revoked_certificate(revoked)
        signed = builder.sign(self._key, hashes.SHA256())
        return signed.public_bytes(serialization.Encoding.PEM)

    def _withdrawn(self) -> dict[str, dict[str, str]]:
        kept = self._folder / "withdrawn.json"
        loaded: dict[str, dict[str, str]] = json.loads(kept.read_text()) if kept.exists() else {}
        return loaded


_PERSON_USES = (DOCUMENT_SIGNING, x509.oid.ExtendedKeyUsageOID.EMAIL_PROTECTION)
"""The second because the certificate stores of several readers know no document signing."""


def _create_root(folder: Path, instance_key: bytes, name: str, now: datetime) -> None:
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{name} sheet authority"[:64])])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCK_SLACK)
        .not_valid_after(now + timedelta(days=365 * ROOT_YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(sign_documents=False), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), False)
        .sign(key, hashes.SHA256())
    )
    _write_private(folder / "root.key", _wrapped(key, instance_key, "root").encode())
    (folder / "root.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))


def _person_name(person_id: str, name: str, role: str, organisation: str | None) -> x509.Name:
    parts = [
        x509.NameAttribute(NameOID.COMMON_NAME, name[:64]),
        x509.NameAttribute(NameOID.TITLE, role[:64]),
        x509.NameAttribute(NameOID.SERIAL_NUMBER, person_id[:64]),
    ]
    if organisation:
        parts.append(x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation[:64]))
    return x509.Name(parts)


def _usage(*, sign_documents: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=sign_documents,
        content_commitment=sign_documents,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=not sign_documents,
        crl_sign=not sign_documents,
        encipher_only=False,
        decipher_only=False,
    )


def _found_at(list_address: str) -> x509.CRLDistributionPoints:
    point = x509.DistributionPoint([x509.UniformResourceIdentifier(list_address)], None, None, None)
    return x509.CRLDistributionPoints([point])


def _wrapped(key: ec.EllipticCurvePrivateKey, instance_key: bytes, purpose: str) -> str:
    plain = key.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return wrap(plain, instance_key, purpose)


def _open_key(wrapped: str, instance_key: bytes, purpose: str) -> ec.EllipticCurvePrivateKey:
    key = serialization.load_der_private_key(unwrap(wrapped, instance_key, purpose), None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise SettingsFault("The authority's key is not an elliptic-curve key.")
    return key


def _write_private(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, readable by its owner alone."""
    new = path.with_name(path.name + ".new")
    descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)
