"""A signer's own certificate: kept for them, used in place of one of ours, taken away again."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.errors import Invalid, NotFound
from referral.sheets.authority import Bearer, IssuedKey
from referral.sheets.models import OwnCertificate
from referral.sheets.pkcs12 import OwnKey
from referral.storage.ids import new_id
from referral.storage.wrapped import wrap
from referral.web.written import day


def own_certificate(session: Session, person_id: UUID) -> OwnCertificate | None:
    """Return the certificate that a person brought and signs with, or None."""
    return session.scalars(
        select(OwnCertificate)
        .where(OwnCertificate.person_id == person_id, OwnCertificate.removed_at.is_(None))
        .order_by(OwnCertificate.added_at.desc(), OwnCertificate.id.desc())
        .limit(1)
    ).first()


def keep_certificate(
    session: Session, person_id: UUID, own: OwnKey, instance_key: bytes, now: datetime
) -> None:
    """Keep a person's own certificate and key; it takes the place of the last."""
    _remove(session, person_id, now)
    row_id = new_id(now)
    session.add(
        OwnCertificate(
            id=row_id,
            person_id=person_id,
            name=own.name,
            issuer=own.issuer,
            serial=own.serial,
            certificate_pem=own.certificate_pem,
            chain_pem=own.chain_pem,
            wrapped_key=wrap(own.private_key, instance_key, _purpose(row_id)),
            expires_at=own.expires_at,
            added_at=now,
        )
    )
    session.flush()


def remove_certificate(session: Session, person_id: UUID, now: datetime) -> None:
    """Take a person's own certificate out of use; its key is deleted, not only put aside.

    Raises
    ------
    NotFound
        If there is none.
    """
    if not _remove(session, person_id, now):
        raise NotFound("You have brought no certificate.")


def _remove(session: Session, person_id: UUID, now: datetime) -> bool:
    rows = session.scalars(
        select(OwnCertificate).where(
            OwnCertificate.person_id == person_id, OwnCertificate.removed_at.is_(None)
        )
    ).all()
    for row in rows:  # two sent at once may both stand
        row.removed_at, row.wrapped_key = now, None
    session.flush()
    return bool(rows)


def own_key(session: Session, person_id: UUID, bearer: Bearer, now: datetime) -> IssuedKey | None:
    """Return the key that a person brought, or None where they sign with one of ours.

    Raises
    ------
    Invalid
        If its certificate has ended: nobody is to sign with another unawares.
    """
    row = own_certificate(session, person_id)
    if row is None or row.wrapped_key is None:
        return None
    if now >= row.expires_at:
        raise Invalid(
            f"Your own certificate ended on {day(row.expires_at)}. On your account’s page, bring "
            "a newer one, or remove it and sign with one of this instance’s."
        )
    return IssuedKey(
        row.serial,
        row.certificate_pem,
        row.wrapped_key,
        row.expires_at,
        purpose=_purpose(row.id),
        chain_pem=row.chain_pem,
        issuer=row.issuer,
        bearer=bearer,
    )


def signs_with(session: Session, person_id: UUID) -> str:
    """Return what a person's signature will be, as the page that signs says it."""
    row = own_certificate(session, person_id)
    if row is None:
        return "with a certificate of this instance’s own authority; not a qualified signature"
    return (
        f"with the certificate that you brought, of {row.name}, issued by {row.issuer}; "
        "what it is worth is for its issuer to say"
    )


def _purpose(row_id: UUID) -> str:
    return f"own certificate {row_id}"
