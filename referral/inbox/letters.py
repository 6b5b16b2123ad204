"""A letter as a mail: headers that nobody's name can break, text and HTML that fetch nothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from email.headerregistry import Address, BaseHeader, HeaderRegistry, UnstructuredHeader
from email.message import EmailMessage
from email.policy import SMTP, Policy
from email.utils import format_datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

from referral.web.fonts import house_folder

LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class Told:
    """One line of a letter: of which case, what happened in words of a mail, where to look."""

    lead: str
    says: str
    is_urgent: bool
    link: str
    link_says: str


@dataclass(frozen=True, slots=True)
class LetterText:
    """Everything a letter is made of; the same text gives the same mail, byte for byte."""

    letter_id: UUID
    made_at: datetime
    house: str
    sender: str
    name: str
    email: str
    told: Sequence[Told]
    endings: Sequence[tuple[str, str]]
    """The name of each topic that can be ended here, and the address that ends it."""
    end_all: str | None
    """The address that ends every topic of this letter at one click."""
    must_have: bool
    wishes_link: str


@dataclass(frozen=True, slots=True)
class AskedLetter:
    """What a letter to an address that is asked onto a case is made of; it greets no name."""

    letter_id: UUID
    made_at: datetime
    house: str
    sender: str
    email: str
    by: str
    for_owner: bool
    as_what: str
    until: str
    link: str
    stop: str
    """The address that ends such letters to this address at one click."""


class _Whole(UnstructuredHeader, BaseHeader):
    """A header that stays in one line: an address in it must not be encoded or cut."""

    def fold(self, *, policy: "Policy[Any]") -> str:
        return f"{self.name}: {self}{policy.linesep}"


def mail_of(letter: LetterText) -> EmailMessage:
    """Return the mail that tells somebody of what is new on their cases.

    Raises
    ------
    ValueError
        If the person's address is none that a mail can go to.
    """
    mail = _begun(letter, letter.name, subject_of(letter.told))
    if letter.end_all:
        _let_end(mail, letter.end_all)
    return _with_parts(mail, letter, "letter")


def asked_mail(letter: AskedLetter) -> EmailMessage:
    """Return the mail that asks an address onto a case.

    Raises
    ------
    ValueError
        If the address is none that a mail can go to.
    """
    mail = _begun(letter, "", f"{_in_header(letter.by)} asks you onto a case")
    _let_end(mail, letter.stop)
    return _with_parts(mail, letter, "asked")


def _let_end(mail: EmailMessage, address: str) -> None:
    mail["List-Unsubscribe"] = f"<{address}>"
    mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"


def _begun(letter: LetterText | AskedLetter, name: str, subject: str) -> EmailMessage:
    registry = HeaderRegistry()
    for header in ("list-unsubscribe", "list-unsubscribe-post", "message-id"):
        registry.map_to_type(header, _Whole)
    mail = EmailMessage(policy=SMTP.clone(header_factory=registry))
    mail["From"] = Address(_in_header(letter.house), addr_spec=letter.sender)
    mail["To"] = Address(_in_header(name), addr_spec=letter.email)
    mail["Subject"] = subject
    mail["Date"] = format_datetime(letter.made_at)
    mail["Message-ID"] = message_id(letter.letter_id, letter.sender)
    mail["Auto-Submitted"] = "auto-generated"
    return mail


def _with_parts(mail: EmailMessage, letter: LetterText | AskedLetter, name: str) -> EmailMessage:
    """Return the mail with its text and its HTML, always in the same bytes."""
    words: Mapping[str, Any] = {"letter": letter, "subject": mail["Subject"]}
    mail.set_content(_template(f"{name}.txt").render(words), cte="quoted-printable")
    mail.add_alternative(
        _template(f"{name}.html").render(words), subtype="html", cte="quoted-printable"
    )
    mail.set_boundary(f"part-{letter.letter_id.hex}")
    return mail


def message_id(letter_id: UUID, sender: str) -> str:
    """Return the mail's own name, the same however often it is sent."""
    return f"<{letter_id}@{sender.rpartition('@')[2]}>"


def subject_of(told: Sequence[Told]) -> str:
    """Return one line that says what waits, and nothing of what is in the record."""
    if len(told) == 1:
        return f"{told[0].lead}: {told[0].says}"
    leads = {each.lead for each in told}
    if len(leads) == 1:
        return f"{told[0].lead}: {len(told)} things are new"
    return f"{len(told)} things are new on your cases"


def _in_header(name: str) -> str:
    """Return a name without line ends or other controls, no longer than a header carries well."""
    printable = "".join(each if each.isprintable() else " " for each in name)
    return " ".join(printable.split())[:LONGEST_NAME]


@lru_cache
def _template(name: str) -> Any:  # noqa: ANN401 - a type of a library that is loaded when asked for
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - likewise

    return Environment(
        loader=FileSystemLoader(house_folder("templates") / "mail"),
        autoescape=name.endswith(".html"),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    ).get_template(name)
