"""What a PDF carries for a later check: its document security store (DSS; ETSI EN 319 142-1)."""

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from asn1crypto import crl, ocsp, x509
from cryptography.exceptions import InvalidSignature
from pyhanko.pdf_utils.decode_limits import DecodePurpose
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation.dss import DocumentSecurityStore, enumerate_ocsp_certs
from pyhanko.sign.validation.errors import NoDSSFoundError
from pyhanko_certvalidator.sig_validate import DefaultSignatureValidator

from referral.sheets.material import Material

MOST_PARTS = 60
MOST_BYTES = 10 * 1024 * 1024
"""In one file: what two signatures may add. Each part, each line of a list, is work to check."""
UNREADABLE = "What the file carries for a later check cannot be read."
NOT_THEIRS = (
    "Something that the file carries for a later check was changed: it is not its issuer’s."
)


@dataclass(frozen=True, slots=True)
class Store:
    """What is carried; ``fault`` is a sentence on what is wrong with it, where something is."""

    material: Material = field(default_factory=Material)
    fault: str | None = None


def read_store(reader: PdfFileReader) -> Store:
    """Return what a file carries; nothing in it is believed but by its issuer's signature."""
    try:
        dss = DocumentSecurityStore.read_dss(reader)
        if len(dss.certs) + len(dss.crls) + len(dss.ocsps) > MOST_PARTS:
            return Store(fault=UNREADABLE)
        lists = [each.get_object().read_data(DecodePurpose.CRL) for each in dss.crls]
        answers = [each.get_object().read_data(DecodePurpose.OCSP_RESPONSE) for each in dss.ocsps]
        if sum(map(len, lists + answers)) > MOST_BYTES:
            return Store(fault=UNREADABLE)
        material = Material(
            tuple(dss.load_certs()),
            tuple(crl.CertificateList.load(each, strict=True) for each in lists),
            tuple(ocsp.OCSPResponse.load(each, strict=True) for each in answers),
        )
        is_theirs = all(_is_signed(each) for each in _signed_parts(material))
    except NoDSSFoundError:
        return Store()
    except Exception:  # noqa: BLE001 - a hostile file may break the reader in any way
        return Store(fault=UNREADABLE)
    return Store(material) if is_theirs else Store(fault=NOT_THEIRS)


def add_to_store(pdf: bytes, material: Material) -> bytes:
    """Return the PDF with this added to what it carries; the bytes given are its beginning."""
    out = io.BytesIO(pdf)
    DocumentSecurityStore.add_dss(
        out,
        sig_contents=None,
        certs=material.certificates,
        ocsps=material.answers,
        crls=material.lists,
    )
    return out.getvalue()


@dataclass(frozen=True, slots=True)
class _Signed:
    """One part: what is signed, how, and the keys of whoever may have signed it."""

    value: bytes
    data: bytes
    algorithm: Any
    signers: tuple[x509.Certificate, ...]


def _signed_parts(material: Material) -> Iterator[_Signed]:
    """Yield the parts whose issuers are there."""
    pool = material.certificates
    for each in pool:
        yield _of(each, "tbs_certificate", _named(each.issuer, pool))
    for each in material.lists:
        yield _of(each, "tbs_cert_list", _named(each.issuer, pool))
    for each in material.answers:
        basic = each["response_bytes"]["response"].parsed
        with_it = enumerate_ocsp_certs(each)  # type: ignore[no-untyped-call]  # has no types
        yield _of(basic, "tbs_response_data", (*with_it, *pool))


def _named(name: x509.Name, pool: Iterable[x509.Certificate]) -> tuple[x509.Certificate, ...]:
    return tuple(each for each in pool if each.subject == name)


def _of(part: Any, what: str, signers: tuple[x509.Certificate, ...]) -> _Signed:  # noqa: ANN401 - any
    value = part["signature_value" if what == "tbs_certificate" else "signature"]
    return _Signed(value.native, part[what].dump(), part["signature_algorithm"], signers)


def _is_signed(part: _Signed) -> bool:
    """Say whether one of its possible signers did sign it; with none there, nobody says no."""
    return not part.signers or any(_signs(part, each) for each in part.signers)


def _signs(part: _Signed, signer: x509.Certificate) -> bool:
    try:
        DefaultSignatureValidator().validate_signature(
            signature=part.value,
            signed_data=part.data,
            public_key_info=signer.public_key,
            signature_algorithm=part.algorithm,
        )
    except (InvalidSignature, ValueError, TypeError):
        return False
    return True
