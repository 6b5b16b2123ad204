"""A person's own certificate and key, judged by what is in the PKCS#12 file that they bring."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from asn1crypto import pkcs12 as asn1
from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from referral.errors import Invalid
from referral.sheets.authority import DOCUMENT_SIGNING
from referral.sheets.opening import Contents, TakesTooLong, open_pkcs12
from referral.web.fonts import require_printable
from referral.web.written import day

LARGEST_FILE = 64 * 1024
MOST_ROUNDS = 2_000_000
"""Of key derivation in one file. Programs write 2 thousand to 1 million (common practice)."""
MOST_NESTING = 4
DIGESTS = frozenset({"sha1", "sha224", "sha256", "sha384", "sha512"})
MOST_CERTIFICATES = 10
LONGEST_NAME = 64
CURVES = (ec.SECP256R1, ec.SECP384R1, ec.SECP521R1)
FEWEST_RSA_BITS, MOST_RSA_BITS = 2048, 8192
OFFICE_SIGNING = x509.ObjectIdentifier("1.3.6.1.4.1.311.10.3.12")
"""An extended key usage for documents from before RFC 9336; many certificates carry it alone."""
FOR_DOCUMENTS = frozenset(
    {
        DOCUMENT_SIGNING,
        OFFICE_SIGNING,
        ExtendedKeyUsageOID.EMAIL_PROTECTION,
        ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE,
    }
)
UNREADABLE = (
    "This file and passphrase do not open. The passphrase is wrong, or the file is damaged, "
    "or was written in an old way: save it anew as a .p12 with AES."
)
TOO_LONG = "This file takes too long to open; save it anew with fewer rounds."
BROKEN = (ValueError, KeyError, TypeError, AttributeError, OverflowError)
"""What the readers raise on bytes that are no such file."""


@dataclass(frozen=True, slots=True)
class OwnKey:
    """A certificate and key fit for signing: whose it is, by whom, until when."""

    name: str
    issuer: str
    serial: str
    certificate_pem: str
    chain_pem: str
    private_key: bytes = field(repr=False)
    expires_at: datetime


def read_pkcs12(data: bytes, passphrase: str, now: datetime) -> OwnKey:
    """Return the key and certificate of a PKCS#12 file, if sheets can be signed with them.

    Raises
    ------
    Invalid
        If it does not open, or its key or certificate is not fit; says why, at its field.
    """
    key, certificate, others = _opened(data, passphrase)
    for fault in (*_key_faults(key, certificate), *_certificate_faults(certificate, now)):
        raise _refusal(fault)
    name, issuer = _name_of(certificate.subject), _name_of(certificate.issuer)
    require_printable(f"{name} {issuer}")
    return OwnKey(
        name=name,
        issuer=issuer,
        serial=f"{certificate.serial_number:x}",
        certificate_pem=_pem(certificate),
        chain_pem="".join(_pem(each) for each in others),
        private_key=key.private_bytes(
            serialization.Encoding.DER,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        ),
        expires_at=certificate.not_valid_after_utc,
    )


def _opened(
    data: bytes, passphrase: str
) -> tuple[Any, x509.Certificate, tuple[x509.Certificate, ...]]:
    if len(data) > LARGEST_FILE:
        raise _refusal("A certificate with its key is never larger than 64 kB.")
    try:
        if sum(_rounds(data)) > MOST_ROUNDS:
            raise _refusal(TOO_LONG)
        held = open_pkcs12(data, passphrase)
        key, certificate, *others = _loaded(held)
    except TakesTooLong as error:
        raise _refusal(TOO_LONG) from error
    except (*BROKEN, UnsupportedAlgorithm) as error:
        raise _refusal(UNREADABLE) from error
    if key is None or certificate is None:
        raise _refusal("This file holds no certificate with its private key.")
    if len(others) > MOST_CERTIFICATES:
        raise _refusal(f"This file holds more than {MOST_CERTIFICATES} other certificates.")
    return key, certificate, tuple(others)


def _loaded(held: Contents) -> Iterator[Any]:
    """Yield the key, its certificate, and the others; the key was checked when it was opened."""
    skip = {"unsafe_skip_rsa_key_validation": True}
    yield held.key and serialization.load_der_private_key(held.key, None, **skip)
    yield held.certificate and x509.load_der_x509_certificate(held.certificate)
    yield from map(x509.load_der_x509_certificate, held.others)


def _rounds(data: bytes) -> Iterator[int]:
    """Yield the rounds of key derivation that each part of the file asks for, so far as it is said.

    Raises
    ------
    ValueError
        If a part derives its key in a way whose rounds cannot be counted.
    """
    file = asn1.Pfx.load(data, strict=True)
    mac = file["mac_data"]
    if mac.native is not None:
        if mac["mac"]["digest_algorithm"]["algorithm"].native not in DIGESTS:
            raise ValueError("An unknown way of proving the file.")
        yield _counted(mac["iterations"].native)
    for part in file.authenticated_safe:
        if part["content_type"].native == "encrypted_data":
            coded = part["content"]["encrypted_content_info"]["content_encryption_algorithm"]
            yield _counted(coded.kdf_iterations)
        else:
            yield from _rounds_inside(asn1.SafeContents.load(part["content"].native), 0)


def _rounds_inside(bags: asn1.SafeContents, depth: int) -> Iterator[int]:
    """Yield the rounds of the keys in these bags, and in the bags inside them."""
    if depth > MOST_NESTING:
        raise ValueError("Bags inside bags inside bags.")
    for bag in bags:
        if bag["bag_id"].native == "pkcs8_shrouded_key_bag":
            yield _counted(bag["bag_value"]["encryption_algorithm"].kdf_iterations)
        elif bag["bag_id"].native == "safe_contents":
            yield from _rounds_inside(bag["bag_value"], depth + 1)


def _counted(rounds: int) -> int:
    """Return a number of rounds; one below 1 would pay for another's."""
    if rounds < 1:
        raise ValueError("A number of rounds that is none.")
    return rounds


def _key_faults(key: Any, certificate: x509.Certificate) -> Iterator[str]:  # noqa: ANN401 - any kind
    if isinstance(key, ec.EllipticCurvePrivateKey):
        if not isinstance(key.curve, CURVES):
            yield f"A key on {key.curve.name} cannot sign here; P-256, P-384 or P-521 can."
    elif isinstance(key, rsa.RSAPrivateKey):
        if not FEWEST_RSA_BITS <= key.key_size <= MOST_RSA_BITS:
            yield f"An RSA key of {key.key_size} bits cannot sign here; one of 2048 to 8192 can."
    else:
        yield "This kind of key cannot sign here; RSA and elliptic curves can."
    if key.public_key() != certificate.public_key():
        yield "The certificate in this file is not that of its key."


def _certificate_faults(certificate: x509.Certificate, now: datetime) -> Iterator[str]:
    if now < certificate.not_valid_before_utc:
        yield f"This certificate begins on {day(certificate.not_valid_before_utc)}."
    if now >= certificate.not_valid_after_utc:
        yield f"This certificate ended on {day(certificate.not_valid_after_utc)}."
    limits = _extension(certificate, x509.BasicConstraints)
    if limits is not None and limits.ca:
        yield "This certificate is an authority’s, for issuing others; bring your own."
    usage = _extension(certificate, x509.KeyUsage)
    if usage is not None and not (usage.digital_signature or usage.content_commitment):
        yield "This certificate is not for signing, by its key usage."
    purposes = _extension(certificate, x509.ExtendedKeyUsage)
    if purposes is not None and not FOR_DOCUMENTS & set(purposes):
        yield "This certificate is not for signing documents, by its extended key usage."


def _extension(certificate: x509.Certificate, kind: Any) -> Any:  # noqa: ANN401 - any extension
    try:
        return certificate.extensions.get_extension_for_class(kind).value
    except x509.ExtensionNotFound:
        return None
    except ValueError as error:
        raise _refusal(UNREADABLE) from error


def _name_of(name: x509.Name) -> str:
    """Return a certificate name's common name, else its organisation, else the whole of it."""
    for oid in (NameOID.COMMON_NAME, NameOID.ORGANIZATION_NAME):
        for attribute in name.get_attributes_for_oid(oid):
            return str(attribute.value)[:LONGEST_NAME]
    return name.rfc4514_string()[:LONGEST_NAME] or "somebody without a name"


def _pem(certificate: x509.Certificate) -> str:
    return certificate.public_bytes(serialization.Encoding.PEM).decode()


def _refusal(sentence: str) -> Invalid:
    return Invalid(sentence, {"certificate": [sentence]})
