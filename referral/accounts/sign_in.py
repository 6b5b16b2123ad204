"""Signing in and out: tries are counted, sessions are opened, kept alive and ended."""

import secrets
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import ColumnElement, func, select, update
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.models import OpenSession, SignIn
from referral.accounts.passwords import Passwords
from referral.accounts.queries import find_live_session, find_person_by_email
from referral.errors import NotFound
from referral.storage.canonical import sha256_hex
from referral.storage.db import Database
from referral.storage.ids import new_id

COUNTED = timedelta(minutes=15)
FAILURES_OF_ONE_AT_ONE_PLACE = 5
FAILURES_OF_ONE = 30
FAILURES_AT_ONE_PLACE = 60
SEEN_EVERY = timedelta(minutes=1)
"""How stale ``last_seen_at`` may be: a page need not write each time it is looked at."""
DEVICE_CHARACTERS = 200

WRONG = "The email or the password is not right."
WAIT = "Too many tries have failed. Wait 15 minutes, then try again."


@dataclass(frozen=True, slots=True)
class SignInTry:
    """What somebody gave at the door, and from where."""

    email: str
    password: str = field(repr=False)
    address: str
    device: str


@dataclass(frozen=True, slots=True)
class SignInResult:
    """A session token to keep in the cookie, or the sentence that says why not."""

    token: str | None = field(default=None, repr=False)
    refusal: str = ""
    must_wait: bool = False


def sign_in(
    database: Database, passwords: Passwords, given: SignInTry, now: datetime
) -> SignInResult:
    """Check a password and open a session.

    Someone unknown, revoked or without a password is answered just as a wrong
    password is. The slow hash is worked out between two short transactions, and
    the tries are counted again in the second, so that many at once gain nothing.
    """
    email = given.email.strip().lower()
    with database.reading() as session:
        if too_many_failures(session, email, given.address, now):
            return SignInResult(refusal=WAIT, must_wait=True)
        person_id, password_hash = _who_may_sign_in(session, email)
    ok = passwords.matches(password_hash, given.password)
    with database.transaction() as session:
        if too_many_failures(session, email, given.address, now):
            return SignInResult(refusal=WAIT, must_wait=True)
        count_try(session, email, given.address, ok=ok, now=now)
        if person_id is None or not ok:
            return SignInResult(refusal=WRONG)
        return SignInResult(token=open_session(session, person_id, given.device, now))


def too_many_failures(session: Session, email: str, address: str, now: datetime) -> bool:
    """Say whether this email, this address, or both together have failed too often."""
    of_email = SignIn.email_sha256 == sha256_hex(email.encode())
    at_address = SignIn.address_sha256 == sha256_hex(address.encode())
    since = now - COUNTED
    success = _last_success(session, of_email, at_address)
    since_success = max(since, success) if success else since
    return (
        _failures(session, since_success, of_email, at_address) >= FAILURES_OF_ONE_AT_ONE_PLACE
        or _failures(session, since, of_email) >= FAILURES_OF_ONE
        or _failures(session, since, at_address) >= FAILURES_AT_ONE_PLACE
    )


def count_try(session: Session, email: str, address: str, *, ok: bool, now: datetime) -> None:
    """Keep that somebody tried, by hashes only."""
    session.add(
        SignIn(
            id=new_id(now),
            email_sha256=sha256_hex(email.encode()),
            address_sha256=sha256_hex(address.encode()),
            at=now,
            ok=ok,
        )
    )


def open_session(session: Session, person_id: UUID, device: str, now: datetime) -> str:
    """Open a session for a person and return its token, of which only the hash is stored."""
    token = secrets.token_urlsafe(32)
    session.add(
        OpenSession(
            id=new_id(now),
            token_sha256=sha256_hex(token.encode()),
            person_id=person_id,
            device=device[:DEVICE_CHARACTERS],
            created_at=now,
            last_seen_at=now,
            ended_at=None,
        )
    )
    return token


def resume_session(database: Database, token: str, now: datetime) -> Actor | None:
    """Return who holds this token and note that they were seen; None if it is dead."""
    with database.reading() as session:
        found = find_live_session(session, token, now)
    if found is None:
        return None
    actor, last_seen_at = found
    if now - last_seen_at >= SEEN_EVERY:
        with database.transaction() as session:
            session.execute(
                update(OpenSession)
                .where(OpenSession.id == actor.session_id, OpenSession.last_seen_at < now)
                .values(last_seen_at=now)
            )
    return actor


def end_session(session: Session, actor: Actor, session_id: UUID, now: datetime) -> None:
    """End one session of one's own; one that has ended stays as it is.

    Raises
    ------
    NotFound
        If it is not one's own.
    """
    mine = session.scalar(
        select(OpenSession).where(
            OpenSession.id == session_id, OpenSession.person_id == actor.person_id
        )
    )
    if mine is None:
        raise NotFound("There is no such session.")
    mine.ended_at = mine.ended_at or now


def end_token(session: Session, token: str, now: datetime) -> None:
    """End the session that this token opened, if it is still open."""
    session.execute(
        update(OpenSession)
        .where(
            OpenSession.token_sha256 == sha256_hex(token.encode()), OpenSession.ended_at.is_(None)
        )
        .values(ended_at=now)
    )


def end_all_sessions(
    session: Session, person_id: UUID, now: datetime, *, but: UUID | None = None
) -> None:
    """End every session of a person, but one if it is named."""
    query = update(OpenSession).where(
        OpenSession.person_id == person_id, OpenSession.ended_at.is_(None)
    )
    if but is not None:
        query = query.where(OpenSession.id != but)
    session.execute(query.values(ended_at=now))


def _who_may_sign_in(session: Session, email: str) -> tuple[UUID | None, str | None]:
    person = find_person_by_email(session, email)
    if person is None or person.revoked_at is not None:
        return None, None
    return person.id, person.password_hash


def _failures(session: Session, since: datetime, *where: ColumnElement[bool]) -> int:
    query = select(func.count()).where(~SignIn.ok, SignIn.at > since, *where)
    return session.scalar(query) or 0


def _last_success(session: Session, *where: ColumnElement[bool]) -> datetime | None:
    return session.scalar(select(func.max(SignIn.at)).where(SignIn.ok, *where))
