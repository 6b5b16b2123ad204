"""Each signer's key: one they brought, one in force, or a new one of the instance's authority."""

from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Organisation, Person
from referral.cases.models import CaseMember
from referral.errors import NotAllowed
from referral.sheets.authority import Authority, Bearer, IssuedKey
from referral.sheets.models import SigningKey
from referral.sheets.own_certificates import own_key
from referral.storage.ids import new_id

RENEW_BEFORE = timedelta(days=14)


def signer_for(
    session: Session, authority: Authority, case_id: UUID, person_id: UUID, role: str, now: datetime
) -> IssuedKey:
    """Return the key of whoever signs; its certificate says who, as what, for whom.

    Raises
    ------
    NotAllowed
        If the person is not on this case in that role.
    Invalid
        If the certificate that they brought themselves has ended.
    """
    row = session.execute(
        select(Person, Organisation)
        .join(CaseMember, CaseMember.person_id == Person.id)
        .outerjoin(Organisation, Organisation.id == CaseMember.organisation_id)
        .where(
            CaseMember.case_id == case_id,
            CaseMember.person_id == person_id,
            CaseMember.role == role,
            CaseMember.until.is_(None),
            Person.revoked_at.is_(None),
        )
    ).first()
    if row is None:
        raise NotAllowed(f"Only the {role} on this case signs here.")
    person: Person = row[0]
    organisation: Organisation | None = row[1]
    employer = organisation.name if organisation is not None else None
    own = own_key(session, person.id, Bearer(person.name, role, employer), now)
    if own is not None:
        return own
    return _held_key(session, person, role, now) or _new_key(
        session, authority, person, (role, employer), now
    )


def withdrawn_list(session: Session, authority: Authority, now: datetime) -> bytes:
    """Return the list of withdrawn certificates (PEM), with those of everybody who left.

    Whoever's account was closed has left: their certificates are withdrawn from that moment on.
    """
    rows = session.execute(
        select(SigningKey.serial, Person.revoked_at)
        .join(Person, Person.id == SigningKey.person_id)
        .where(Person.revoked_at.is_not(None))
    )
    return authority.crl(now, left={serial: at for serial, at in rows if at is not None})


def _held_key(session: Session, person: Person, role: str, now: datetime) -> IssuedKey | None:
    held = session.scalars(
        select(SigningKey)
        .where(
            SigningKey.person_id == person.id,
            SigningKey.role == role,
            SigningKey.revoked_at.is_(None),
            SigningKey.issued_at <= now,
            SigningKey.expires_at > now + RENEW_BEFORE,
        )
        .order_by(SigningKey.issued_at.desc())
    ).first()
    if held is None:
        return None
    return IssuedKey(held.serial, held.certificate_pem, held.wrapped_key, held.expires_at)


def _new_key(
    session: Session,
    authority: Authority,
    person: Person,
    post: tuple[str, str | None],
    now: datetime,
) -> IssuedKey:
    role, employer = post
    issued = authority.issue(str(person.id), person.name, role, employer, now)
    session.add(
        SigningKey(
            id=new_id(now),
            person_id=person.id,
            role=role,
            serial=issued.serial,
            certificate_pem=issued.certificate_pem,
            wrapped_key=issued.wrapped_key,
            issued_at=now,
            expires_at=issued.expires_at,
        )
    )
    return issued
