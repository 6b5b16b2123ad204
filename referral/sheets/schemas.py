"""The forms that sign: the bytes that were on screen, and the password that authorises."""

from collections.abc import Mapping
from contextlib import suppress
from uuid import UUID

from marshmallow import Schema, fields, validate
from werkzeug.datastructures import MultiDict

from referral.accounts.schemas import PasswordAlone
from referral.cases.choices import LETTERS, codes
from referral.cases.schemas import words
from referral.web.fonts import composed
from referral.web.forms import DateField, Unprinted

SHA256_LETTERS = 64
WAIVER, SEEN = "waiver_", "seen_"
LONGEST_REASON = 2000


class SignForm(Schema):
    """A first signature."""

    pdf_sha256 = fields.String(required=True, validate=validate.Length(equal=SHA256_LETTERS))
    password = Unprinted(required=True, validate=validate.Length(max=200))
    code = Unprinted(load_default="", validate=validate.Length(max=20))


class CertificateForm(PasswordAlone):
    """A certificate of one's own; its file comes beside the fields."""

    passphrase = Unprinted(required=True, validate=validate.Length(max=200))


class LetterForm(Schema):
    """A sheet that the vet alone signs."""

    kind = fields.String(required=True, validate=validate.OneOf(codes(LETTERS)))
    words = words()


class SecondForm(SignForm):
    """A second signature on a sheet that has its first."""

    sheet_id = fields.UUID(required=True)


class CountersignForm(SecondForm):
    """The vet's countersign: the next look, whose it is, which films."""

    recheck_on = DateField(required=True)
    recheck_role = fields.String(required=True, validate=validate.OneOf(["vet", "farrier"]))
    films_wanted = words()
    words = words()


def answer_fields(form: MultiDict[str, str]) -> list[str]:
    """Return the names of the fields that answer findings: a waiver's reason, or a tick."""
    return [*_keyed(form, WAIVER).values(), *_keyed(form, SEEN).values()]


def waivers_in(form: MultiDict[str, str]) -> Mapping[UUID, str]:
    """Return the reason given for each finding that was waived."""
    given = _keyed(form, WAIVER).items()
    said = {key: composed(form[name]).strip()[:LONGEST_REASON] for key, name in given}
    return {key: reason for key, reason in said.items() if reason}


def seen_in(form: MultiDict[str, str]) -> frozenset[UUID]:
    """Return the findings that were ticked as seen."""
    return frozenset(_keyed(form, SEEN))


def _keyed(form: MultiDict[str, str], start: str) -> dict[UUID, str]:
    """Return field names by the finding that they name; ``seen_sha256`` names none."""
    found = {}
    for name in form:
        if name.startswith(start):
            with suppress(ValueError):
                found[UUID(name.removeprefix(start))] = name
    return found
