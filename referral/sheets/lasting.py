"""What a stamped signature needs to be checked years later, put into its file (PAdES B-LT).

The certificates of signer and time authority, and their issuers' word that they were not withdrawn.
Whatever of it cannot be had leaves the signature as it was.
"""

import asyncio
from datetime import datetime

from asn1crypto import x509

from referral.errors import Invalid
from referral.sheets.authority import Authority, IssuedKey
from referral.sheets.drafts import Lookups
from referral.sheets.lookups import looked_up
from referral.sheets.material import (
    Material,
    Standing,
    Verdict,
    certificates_in,
    list_in,
    standing_of,
)
from referral.sheets.stamping import FOR_STAMPS, NOTHING_SIGNED, InstanceStamper
from referral.sheets.store import add_to_store
from referral.web.written import day

LARGEST = 5 * 1024 * 1024
"""Bytes that one signature may add: a list that is longer is looked at, and not kept.

They stand after the signature and take nothing of its room. A large issuer's list has a megabyte
or two (common practice, no source); one of five takes a second to read at each check.
"""


def look_up_own(key: IssuedKey, at: datetime, lookups: Lookups) -> tuple[bool, Material]:
    """Return whether a certificate that was brought is known to count, and what that is known by.

    Raises
    ------
    Invalid
        If it was withdrawn.
    """
    certificate = _own(key)
    known = Material((certificate, *certificates_in(key.chain_pem.encode())))
    standing, found = asyncio.run(looked_up(certificate, known, at, lookups))
    if standing.verdict is Verdict.WITHDRAWN:
        since = f" on {day(standing.since)}" if standing.since else ""
        raise Invalid(
            f"Your own certificate no longer counts: its issuer withdrew it, or one that it rests "
            f"on{since}. Nothing was signed. On your account’s page, bring another, or remove it "
            "and sign with one of this instance’s."
        )
    return standing.verdict is Verdict.COUNTED, found


def issued_material(authority: Authority, key: IssuedKey, at: datetime) -> Material:
    """Return what this instance's authority says of a certificate that it issued."""
    above = certificates_in(authority.root_pem)
    return Material((_own(key), *above), (list_in(authority.crl(at)),))


def with_material(
    pdf: bytes, key: IssuedKey, of_signer: Material, stamper: InstanceStamper, lookups: Lookups
) -> tuple[bytes, bool]:
    """Return a stamped PDF with what is needed to check it later, and whether that could be had.

    Raises
    ------
    Invalid
        If the time authority's certificate was withdrawn: then there is no signature either.
    """
    stamp, at = stamper.certificate, stamper.at
    if stamp is None or at is None:
        return pdf, False
    found = asyncio.run(_found((_own(key), of_signer), (stamp, stamper.material), at, lookups))
    if found is None:
        return pdf, False
    whole = add_to_store(pdf, found)
    return (whole, True) if len(whole) - len(pdf) <= LARGEST else (pdf, False)


async def _found(
    signed: tuple[x509.Certificate, Material],
    stamped: tuple[x509.Certificate, Material],
    at: datetime,
    lookups: Lookups,
) -> Material | None:
    """Return what shows that signer and time authority counted, or None if it cannot be had."""
    signer, of_signer = signed
    stamp, of_stamp = stamped
    standing, of_stamp = await looked_up(stamp, of_stamp, at, lookups, FOR_STAMPS)
    if standing.verdict is Verdict.WITHDRAWN:
        raise Invalid(
            f"The time authority’s certificate was withdrawn. {NOTHING_SIGNED}; if it goes on, "
            "tell whoever runs this."
        )
    return _both(await standing_of(signer, of_signer, at), of_signer, standing, of_stamp)


def _both(
    signer: Standing, of_signer: Material, stamp: Standing, of_stamp: Material
) -> Material | None:
    if signer.path is None or stamp.path is None:
        return None
    return of_signer.of(signer.path) + of_stamp.of(stamp.path)


def _own(key: IssuedKey) -> x509.Certificate:
    (certificate,) = certificates_in(key.certificate_pem.encode())
    return certificate
