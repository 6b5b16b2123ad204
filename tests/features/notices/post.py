"""A real mail server on this machine that keeps what it takes, and can be told to misbehave."""

import asyncio
import email
import socket
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import default

from aiosmtpd.controller import Controller
from sqlalchemy import select

from referral.notices.models import Letter
from referral.storage.jobs import Job

PATIENCE_S = 120
OK = "250 OK"


@dataclass
class Mailbox:
    """What the server took, in order, and what it is to answer next."""

    taken: list[EmailMessage] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)
    recipients: list[list[str]] = field(default_factory=list)
    answers: list[str] = field(default_factory=list)
    """Said instead of taking the mail, one for each DATA; ``drop`` takes it and hangs up."""
    to_answers: list[str] = field(default_factory=list)
    """Said to RCPT TO, one for each."""
    after_data: threading.Event = field(default_factory=threading.Event)
    hold: threading.Event | None = None
    port: int = 0

    async def handle_RCPT(self, server, session, envelope, address, rcpt_options):  # noqa: N802 - the library's names
        if self.to_answers:
            return self.to_answers.pop(0)
        envelope.rcpt_tos.append(address)
        return OK

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - the library's names
        answer = self.answers.pop(0) if self.answers else OK
        if answer.startswith("250") or answer == "drop":
            self.raw.append(envelope.content)
            self.taken.append(email.message_from_bytes(envelope.content, policy=default))
            self.recipients.append(list(envelope.rcpt_tos))
            self.after_data.set()
        if self.hold is not None:
            await asyncio.to_thread(self.hold.wait, PATIENCE_S)
        if answer == "drop":
            server.transport.abort()
        return OK if answer == "drop" else answer

    def ids(self) -> list[str]:
        return [each["Message-ID"] for each in self.taken]


@contextmanager
def a_mail_server(**how):
    """Serve on a free port until the test ends."""
    box = Mailbox()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        box.port = free.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=box.port, **how)
    controller.start()
    try:
        yield box
    finally:
        controller.stop()


def until(condition):
    end = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end, "it did not come to that"
        time.sleep(0.02)


def letters(database):
    with database.reading() as session:
        return session.scalars(select(Letter).order_by(Letter.made_at, Letter.id)).all()


def waiting_jobs(database):
    with database.reading() as session:
        return session.scalars(select(Job).where(Job.ended_at.is_(None))).all()


def part_of(mail, kind):
    """Return the text of a mail's part: plain or html."""
    return mail.get_body((kind,)).get_content()
