"""What shows, without asking anybody, that a certificate counted at a moment.

Certificates with the lists (CRL) and answers (OCSP) of their issuers about them. Whether they show
it is judged here, in the same way when a sheet is signed and when it is checked years later.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum
from itertools import pairwise
from typing import Any

from asn1crypto import crl, ocsp, pem, x509
from pyhanko_certvalidator import CertificateValidator, ValidationContext
from pyhanko_certvalidator.errors import (
    InvalidCertificateError,
    PathBuildingError,
    PathValidationError,
    RevokedError,
)
from pyhanko_certvalidator.path import ValidationPath

BROKEN = (ValueError, KeyError, TypeError, AttributeError)
"""What the readers raise on bytes that are no such thing: they read as they are asked."""
LATEST = timedelta(days=1)
"""How long after a moment a list may have been made and still be of it: later ones may have lost
the certificates that ended since (RFC 5280, 3.3)."""


class Verdict(Enum):
    """What is known of a certificate at a moment."""

    COUNTED = "it counted"
    WITHDRAWN = "it was withdrawn"
    UNKNOWN = "it cannot be told"


@dataclass(frozen=True, slots=True)
class Standing:
    """How a certificate stood at a moment: the path that shows it, or since when it does not."""

    verdict: Verdict
    path: ValidationPath | None = None
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class Material:
    """Certificates, and what their issuers said of them."""

    certificates: tuple[x509.Certificate, ...] = ()
    lists: tuple[crl.CertificateList, ...] = ()
    answers: tuple[ocsp.OCSPResponse, ...] = ()

    def __add__(self, other: "Material") -> "Material":
        """Return what is in both, each part once."""
        return Material(
            _once(self.certificates + other.certificates),
            _once(self.lists + other.lists),
            _once(self.answers + other.answers),
        )

    def of(self, path: ValidationPath) -> "Material":
        """Return what speaks of this path: its certificates, and their issuers' words."""
        certificates = tuple(path)
        issuers = {each.issuer.hashable for each in certificates}
        lists = tuple(each for each in self.lists if _issuer_of(each) in issuers)
        return Material(certificates, lists, self.answers)


def _issuer_of(listed: crl.CertificateList) -> object:
    try:
        return listed.issuer.hashable
    except BROKEN:
        return None


def _once(parts: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple({each.dump(): each for each in parts}.values())


def certificates_in(data: bytes) -> tuple[x509.Certificate, ...]:
    """Return the certificates of a PEM file, without whatever else is in it."""
    blocks = pem.unarmor(data, multiple=True) if data else ()
    return tuple(
        x509.Certificate.load(der) for kind, _headers, der in blocks if kind == "CERTIFICATE"
    )


def list_in(data: bytes) -> crl.CertificateList:
    """Return a list of withdrawn certificates, from PEM or DER.

    Raises
    ------
    ValueError
        If it is none.
    """
    der = pem.unarmor(data)[2] if pem.detect(data) else data
    return crl.CertificateList.load(der, strict=True)


def chain_of(
    certificate: x509.Certificate, pool: Iterable[x509.Certificate]
) -> tuple[x509.Certificate, ...]:
    """Return a certificate and those above it, as far as they are in the pool."""
    by_name = {each.subject.hashable: each for each in pool}
    chain = [certificate]
    while (above := by_name.get(chain[-1].issuer.hashable)) is not None and above not in chain:
        chain.append(above)
    return tuple(chain)


def links_of(
    certificate: x509.Certificate, pool: Iterable[x509.Certificate]
) -> Iterator[tuple[x509.Certificate, x509.Certificate]]:
    """Yield each certificate of a chain with its issuer's."""
    yield from pairwise(chain_of(certificate, pool))


def is_own_issuer(certificate: x509.Certificate) -> bool:
    """Say whether nobody stands above a certificate."""
    return bool(certificate.issuer == certificate.subject)


async def standing_of(
    certificate: x509.Certificate,
    material: Material,
    at: datetime,
    uses: frozenset[str] = frozenset(),
) -> Standing:
    """Return how a certificate stood at a moment, by this material alone.

    It counted if a path leads to a certificate that is its own issuer's, and of every certificate
    below that one its issuer says that it was not withdrawn. Whom to trust is not asked here.
    """
    validator = CertificateValidator(
        certificate,
        intermediate_certs=material.certificates,
        validation_context=_context(material, at),
    )
    try:
        path = await validator.async_validate_usage(  # type: ignore[no-untyped-call]  # no types
            set(), set(uses)
        )
    except RevokedError as revoked:
        return Standing(Verdict.WITHDRAWN, since=revoked.revocation_dt)
    except (PathBuildingError, PathValidationError, InvalidCertificateError, *BROKEN):
        return Standing(Verdict.UNKNOWN)
    return Standing(Verdict.COUNTED, path)


def _context(material: Material, at: datetime) -> ValidationContext:
    return ValidationContext(
        trust_roots=[each for each in material.certificates if is_own_issuer(each)],
        other_certs=list(material.certificates),
        crls=[each for each in material.lists if _is_of(_listed_at(each), at)],
        ocsps=[each for each in material.answers if _is_of(_answered_at(each), at)],
        allow_fetching=False,
        moment=at,
        revocation_mode="require",
        retroactive_revinfo=True,
    )


def _is_of(said_at: datetime | None, moment: datetime) -> bool:
    return said_at is not None and said_at <= moment + LATEST


def _listed_at(listed: crl.CertificateList) -> datetime | None:
    try:
        at: datetime | None = listed["tbs_cert_list"]["this_update"].native
    except BROKEN:
        return None
    return at


def _answered_at(answer: ocsp.OCSPResponse) -> datetime | None:
    try:
        if answer["response_status"].native != "successful":
            return None
        at: datetime | None = answer.response_data["produced_at"].native
    except BROKEN:
        return None
    return at
