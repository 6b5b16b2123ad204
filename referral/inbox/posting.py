"""Sending a letter: through the mail server, again after growing waits, given up in the end."""

import smtplib
import ssl
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from email.message import EmailMessage
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.cases.models import CaseMember, Entry, Invitation
from referral.core.workflow import Role
from referral.inbox.asking import asked_letter
from referral.inbox.letters import AskedLetter, LetterText, Told, asked_mail, mail_of
from referral.inbox.queries import Part, notices_in, part_shown, parts_of
from referral.inbox.tokens import token_for
from referral.inbox.wording import mail_says, office_says
from referral.notices.models import Letter, Notice
from referral.notices.policy import (
    MAIL_LOST,
    TOPIC_NAMES,
    Topic,
    is_urgent,
    is_wanted,
    must_have,
    topic_of,
)
from referral.notices.queries import wishes_of
from referral.settings import Settings
from referral.storage.db import Database
from referral.storage.ids import new_id
from referral.storage.jobs import Finish, Handler

MOST_ATTEMPTS = 10
FIRST_WAIT = timedelta(minutes=1)
"""Doubled each time: the tenth try is eight and a half hours after the first."""
PATIENCE_S = 10.0
"""For each answer of the server, so that a whole conversation ends within a worker's lease."""
PERMANENT = 500

OF_THE_OFFICE, NOTICES = "A case of your organisation’s", "Open your notices"


class Refused(Exception):
    """The server will never take this letter."""


class TryLater(OSError):
    """The server takes this letter some other time; says so without anybody's address."""


def letter_sender(settings: Settings, database: Database, now: Callable[[], datetime]) -> Handler:
    """Return how a letter is sent, and what is done when it cannot be."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        letter_id = UUID(payload["letter_id"])
        with database.reading() as session:
            text = text_of(session, letter_id, settings, now())
        if text is None:
            return lambda session: _end(session, letter_id, "not_needed", None, now())
        try:
            send(settings, text)
        except Refused as error:
            fault = str(error)
            return lambda session: _give_up(session, letter_id, fault, now())
        return lambda session: _end(session, letter_id, "sent", None, now())

    def give_up(payload: Mapping[str, Any]) -> Finish:
        letter_id = UUID(payload["letter_id"])
        return lambda session: _give_up(session, letter_id, "tried too often", now())

    return Handler(prepare, give_up, MOST_ATTEMPTS, FIRST_WAIT)


def text_of(
    session: Session, letter_id: UUID, settings: Settings, now: datetime
) -> LetterText | AskedLetter | None:
    """Return what a letter says now, or None if it need not be sent any more."""
    letter = session.get_one(Letter, letter_id)
    if letter.ended_at or not settings.mail_host or not settings.mail_from:
        return None
    if letter.person_id is None:
        return asked_letter(session, letter, settings, now)
    person = session.get_one(Person, letter.person_id)
    return None if person.revoked_at else _tidings(session, letter, person, settings)


def _tidings(
    session: Session, letter: Letter, person: Person, settings: Settings
) -> LetterText | None:
    """Return what is new on somebody's cases, as far as they still want it and may know of it."""
    notices = notices_in(session, letter.id)
    parts = parts_of(session, person.id, {each.case_id for each in notices})
    wishes = wishes_of(session, person.id, settings.zone)
    shown = [(each, part) for each in notices if (part := part_shown(each, parts))]
    kept = [(each, part) for each, part in shown if is_wanted(wishes, each.kind, part.roles)]
    if not kept:
        return None
    home = settings.public_address
    topics = {topic_of(notice.kind) for notice, _part in kept}
    bound = {t for t in topics for _notice, part in kept if must_have(t, part.roles)}
    free = [topic for topic in Topic if topic in topics - bound]
    return LetterText(
        letter_id=letter.id,
        made_at=letter.made_at,
        house=settings.instance_name,
        sender=settings.mail_from or "",
        name=person.name,
        email=person.email,
        told=[_told(notice, part, home) for notice, part in kept],
        endings=[(TOPIC_NAMES[each], _ending(settings, person.id, [each])) for each in free],
        end_all=_ending(settings, person.id, free) if free else None,
        must_have=bool(bound),
        wishes_link=f"{home}/account/mail",
    )


def _told(notice: Notice, part: Part, home: str) -> Told:
    urgent = is_urgent(notice.kind)
    if part.number is None:
        return Told(OF_THE_OFFICE, office_says(notice.kind), urgent, f"{home}/notices", NOTICES)
    name = f"case {part.number}"
    link = f"{home}/cases/{part.number}"
    return Told(
        name.capitalize(), mail_says(notice.kind, notice.facts), urgent, link, f"Open {name}"
    )


def _ending(settings: Settings, person_id: UUID, topics: list[Topic]) -> str:
    token = token_for(settings.secret_key, person_id, topics)
    return f"{settings.public_address}/unsubscribe/{token}"


def send(settings: Settings, text: LetterText | AskedLetter) -> None:
    """Hand the letter to the mail server.

    Raises
    ------
    Refused
        If it will never be taken: no such address, or refused for good.
    OSError
        If the server cannot be reached or breaks off (the library's errors are of this kind).
    """
    try:
        mail = mail_of(text) if isinstance(text, LetterText) else asked_mail(text)
    except ValueError as error:
        raise Refused("the address is none that a mail can go to") from error
    with _conversation(settings) as server:
        _hand_over(server, mail, text)


def _hand_over(server: smtplib.SMTP, mail: EmailMessage, text: LetterText | AskedLetter) -> None:
    try:
        server.send_message(mail, text.sender, [text.email])
    except smtplib.SMTPRecipientsRefused as error:
        code, _said = error.recipients[text.email]
        if code >= PERMANENT:
            raise Refused(f"the server refuses the address ({code})") from error
        raise TryLater(f"the server does not take the address now ({code})") from None
    except (smtplib.SMTPDataError, smtplib.SMTPSenderRefused) as error:
        if error.smtp_code >= PERMANENT:
            raise Refused(f"the server refuses the mail ({error.smtp_code})") from error
        raise
    except smtplib.SMTPNotSupportedError as error:
        raise Refused("the server takes no address with such letters") from error


@contextmanager
def _conversation(settings: Settings) -> Iterator[smtplib.SMTP]:
    """Give a server that has greeted us; how it says goodbye changes nothing."""
    host, port = settings.mail_host or "", settings.mail_port
    us = urlsplit(settings.public_address).hostname
    if settings.mail_tls == "tls":
        safe = ssl.create_default_context()
        server: smtplib.SMTP = smtplib.SMTP_SSL(host, port, us, timeout=PATIENCE_S, context=safe)
    else:
        server = smtplib.SMTP(host, port, us, timeout=PATIENCE_S)
    try:
        if settings.mail_tls == "starttls":
            server.starttls(context=ssl.create_default_context())
        if settings.mail_user:
            server.login(settings.mail_user, settings.mail_password or "")
        yield server
        with suppress(OSError):
            server.quit()
    finally:
        server.close()


def _end(session: Session, letter_id: UUID, outcome: str, fault: str | None, now: datetime) -> None:
    letter = session.get_one(Letter, letter_id)
    if letter.ended_at is not None:
        return
    letter.ended_at, letter.outcome, letter.fault = now, outcome, fault


def _give_up(session: Session, letter_id: UUID, fault: str, now: datetime) -> None:
    """End the letter, and tell in the inbox those who count on its having been read."""
    _end(session, letter_id, "given_up", fault, now)
    letter = session.get_one(Letter, letter_id)
    to_tell = {
        (notice.case_id, person_id)
        for notice in notices_in(session, letter_id)
        for person_id in _who_counts_on(session, notice)
        if person_id != letter.person_id
    } | _who_asked(session, letter)
    session.add_all(
        Notice(
            id=new_id(now),
            person_id=person_id,
            case_id=case_id,
            kind=MAIL_LOST,
            made_at=now,
            settled_at=now,
            undelivered_id=letter_id,
        )
        for case_id, person_id in sorted(to_tell)
    )


def _who_asked(session: Session, letter: Letter) -> set[tuple[UUID, UUID]]:
    """Return the case and who asked an address onto it, if they are on it themselves."""
    row = session.execute(
        select(Invitation.case_id, Invitation.asked_by)
        .join(
            CaseMember,
            (CaseMember.case_id == Invitation.case_id)
            & (CaseMember.person_id == Invitation.asked_by),
        )
        .where(Invitation.id == letter.invitation_id, CaseMember.until.is_(None))
    ).first()
    return set() if row is None else {(row.case_id, row.asked_by)}


def _who_counts_on(session: Session, notice: Notice) -> set[UUID]:
    """Return who made the move that a notice tells of, and the case's coordinators."""
    coordinators = session.scalars(
        select(CaseMember.person_id).where(
            CaseMember.case_id == notice.case_id,
            CaseMember.role == Role.COORDINATOR.value,
            CaseMember.until.is_(None),
        )
    )
    actors = session.scalars(select(Entry.actor_id).where(Entry.id == notice.entry_id))
    return {*coordinators, *actors}
