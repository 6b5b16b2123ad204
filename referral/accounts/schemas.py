"""What the account pages take."""

from marshmallow import Schema, fields, validate

from referral.accounts.passwords import LONGEST as LONGEST_PASSWORD
from referral.accounts.service import LONGEST_EMAIL
from referral.web.forms import MISSING, Unprinted

LONGEST_TYPED = 4 * LONGEST_PASSWORD


class SignInForm(Schema):
    """The door."""

    email = Unprinted(
        required=True,
        validate=validate.Length(max=LONGEST_EMAIL),
        error_messages={"required": MISSING},
    )
    password = Unprinted(
        required=True,
        validate=validate.Length(max=LONGEST_TYPED),
        error_messages={"required": MISSING},
    )
    next = Unprinted(load_default="")


class PasswordForm(Schema):
    """A new password, and the present one to show that it is you."""

    present = Unprinted(required=True, validate=validate.Length(max=LONGEST_TYPED))
    password = Unprinted(required=True, validate=validate.Length(max=LONGEST_TYPED))


class PasswordAlone(Schema):
    """One's password, to authorise what is done next."""

    password = Unprinted(required=True, validate=validate.Length(max=LONGEST_TYPED))


class OutOfHoursForm(Schema):
    """The number that a practice is rung on when it is closed; empty for none."""

    out_of_hours_phone = fields.String(load_default="", validate=validate.Length(max=40))


class CodeForm(Schema):
    """A code of the moment."""

    code = Unprinted(required=True, validate=validate.Length(max=20))
