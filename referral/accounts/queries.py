"""Reads on people, organisations and open sessions."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import BindParameter, ColumnElement, Select, and_, bindparam, or_, select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor, MembershipInfo
from referral.accounts.models import Membership, OpenSession, Organisation, Person
from referral.errors import NotFound
from referral.storage.canonical import sha256_hex
from referral.storage.db import UtcDateTime
from referral.web.fonts import composed

IDLE = timedelta(minutes=60)
LONGEST = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class PersonInfo:
    """A person as shown to others."""

    person_id: UUID
    name: str
    email: str
    phone: str | None
    registration_number: str | None
    is_revoked: bool
    memberships: tuple[MembershipInfo, ...]

    @property
    def roles(self) -> tuple[str, ...]:
        """Return the roles, each once."""
        return tuple(dict.fromkeys(membership.role for membership in self.memberships))


@dataclass(frozen=True, slots=True)
class SessionInfo:
    """One open session as its owner sees it."""

    session_id: UUID
    device: str
    created_at: datetime
    last_seen_at: datetime
    is_this_one: bool


def person_by_id(session: Session, person_id: UUID) -> Person:
    """Return the person.

    Raises
    ------
    NotFound
        If there is nobody with this identifier.
    """
    person = session.get(Person, person_id)
    if person is None:
        raise NotFound("There is no such person.")
    return person


def find_person_by_email(session: Session, email: str) -> Person | None:
    """Return the person with this email, whether revoked or not."""
    return session.scalar(select(Person).where(Person.email == email.strip().lower()))


def person_by_email(session: Session, email: str) -> Person:
    """Return the person with this email, whether revoked or not.

    Raises
    ------
    NotFound
        If nobody has this email.
    """
    person = find_person_by_email(session, email)
    if person is None:
        raise NotFound(f"Nobody is known by {email}.")
    return person


def find_organisation_by_name(session: Session, name: str) -> Organisation | None:
    """Return the organisation of this name, however its spaces and accents are typed."""
    clean = composed(" ".join(name.split()))
    return session.scalar(select(Organisation).where(Organisation.name == clean))


def list_organisations(session: Session) -> tuple[Organisation, ...]:
    """Return every organisation, by name."""
    return tuple(session.scalars(select(Organisation).order_by(Organisation.name)))


def list_people(session: Session) -> tuple[PersonInfo, ...]:
    """Return everybody, by name, with their present roles."""
    return _people(session, None)


def people_of(session: Session, organisation_id: UUID) -> tuple[PersonInfo, ...]:
    """Return the present people of an organisation, by name, without the revoked."""
    inside = select(Membership.person_id).where(
        Membership.organisation_id == organisation_id, Membership.until.is_(None)
    )
    return _people(session, and_(Person.revoked_at.is_(None), Person.id.in_(inside)))


def people_with_role(session: Session, role: str, among: Select[UUID]) -> tuple[PersonInfo, ...]:
    """Return those ``among`` these who have this role anywhere now, by name; none revoked."""
    having = select(Membership.person_id).where(Membership.role == role, Membership.until.is_(None))
    who = and_(Person.revoked_at.is_(None), Person.id.in_(having), Person.id.in_(among))
    return _people(session, who)


def colleagues_of(person_id: UUID) -> Select[UUID]:
    """Return the query for everybody who works now for an organisation this person works for."""
    mine = select(Membership.organisation_id).where(
        Membership.person_id == person_id,
        Membership.until.is_(None),
        Membership.organisation_id.is_not(None),
    )
    return select(Membership.person_id).where(
        Membership.organisation_id.in_(mine), Membership.until.is_(None)
    )


Moment = datetime | BindParameter[datetime]


def _live(seen_after: Moment, opened_after: Moment) -> tuple[ColumnElement[bool], ...]:
    return (
        OpenSession.ended_at.is_(None),
        OpenSession.last_seen_at > seen_after,
        OpenSession.created_at > opened_after,
    )


def _moment(name: str) -> BindParameter[datetime]:
    return bindparam(name, type_=UtcDateTime())


# every request asks this, so that it is put together once
_WHO = (
    select(
        OpenSession.id,
        OpenSession.last_seen_at,
        Person.id,
        Person.name,
        Person.email,
        Membership.role,
        Organisation.id,
        Organisation.name,
        Organisation.kind,
    )
    .join(Person, Person.id == OpenSession.person_id)
    .outerjoin(
        Membership,
        and_(
            Membership.person_id == Person.id,
            or_(Membership.until.is_(None), Membership.until > _moment("now")),
        ),
    )
    .outerjoin(Organisation, Organisation.id == Membership.organisation_id)
    .where(
        OpenSession.token_sha256 == bindparam("token_sha256"),
        *_live(_moment("seen_after"), _moment("opened_after")),
        Person.revoked_at.is_(None),
    )
    .order_by(Membership.since, Membership.id)
)


def actor_for_token(session: Session, token: str, now: datetime) -> Actor | None:
    """Return who holds this session token, or None if it is unknown, ended or too old."""
    found = find_live_session(session, token, now)
    return found[0] if found else None


def find_live_session(session: Session, token: str, now: datetime) -> tuple[Actor, datetime] | None:
    """Return the actor of a live session and when it was last seen, in one query."""
    rows = session.execute(
        _WHO,
        {
            "token_sha256": sha256_hex(token.encode()),
            "now": now,
            "seen_after": now - IDLE,
            "opened_after": now - LONGEST,
        },
    ).all()
    if not rows:
        return None
    session_id, last_seen_at, person_id, name, email, *_ = rows[0]
    memberships = tuple(MembershipInfo(row[6], row[7], row[8], row[5]) for row in rows if row[5])
    return Actor(person_id, name, email, session_id, memberships), last_seen_at


def open_sessions(session: Session, actor: Actor, now: datetime) -> tuple[SessionInfo, ...]:
    """Return the live sessions of a person, the latest seen first."""
    rows = session.scalars(
        select(OpenSession)
        .where(OpenSession.person_id == actor.person_id, *_live(now - IDLE, now - LONGEST))
        .order_by(OpenSession.last_seen_at.desc(), OpenSession.id.desc())
    )
    return tuple(
        SessionInfo(
            row.id, row.device, row.created_at, row.last_seen_at, row.id == actor.session_id
        )
        for row in rows
    )


def _people(session: Session, where: ColumnElement[bool] | None) -> tuple[PersonInfo, ...]:
    query = (
        select(Person, Membership.role, Organisation.id, Organisation.name, Organisation.kind)
        .outerjoin(Membership, and_(Membership.person_id == Person.id, Membership.until.is_(None)))
        .outerjoin(Organisation, Organisation.id == Membership.organisation_id)
        .order_by(Person.name, Person.id, Membership.since, Membership.id)
    )
    rows = session.execute(query if where is None else query.where(where)).all()
    together: dict[UUID, list[tuple[Any, ...]]] = {}
    for row in rows:
        together.setdefault(row[0].id, []).append(tuple(row))
    return tuple(_person_info(each) for each in together.values())


def _person_info(rows: Sequence[tuple[Any, ...]]) -> PersonInfo:
    person: Person = rows[0][0]
    return PersonInfo(
        person_id=person.id,
        name=person.name,
        email=person.email,
        phone=person.phone,
        registration_number=person.registration_number,
        is_revoked=person.revoked_at is not None,
        memberships=tuple(
            MembershipInfo(row[2], row[3], row[4], row[1]) for row in rows if row[1] is not None
        ),
    )
