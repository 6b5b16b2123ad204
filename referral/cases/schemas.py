"""The forms of a case: open, problem, limit, referral, words, observation, red flag."""

from marshmallow import Schema, fields, validate

from referral.cases.choices import (
    CERTAINTIES,
    CONDITIONS,
    JURISDICTIONS,
    LIMBS,
    OUTCOMES,
    SIGNS,
    SUBJECTS,
    TETANUS,
    URGENCIES,
    codes,
)
from referral.core.rules.finding import STAGES
from referral.web.forms import DateField, DecimalField

LONGEST_WORDS = 4000


def words(*, required: bool = False) -> fields.String:
    """Return a field for a sentence or some."""
    length = validate.Length(max=LONGEST_WORDS)
    if required:
        return fields.String(required=True, validate=length)
    return fields.String(load_default=None, validate=length)


class OpenCaseForm(Schema):
    """Open a case: which horse, which farrier (known, or by an address in full), whose law."""

    horse_id = fields.UUID(required=True)
    farrier_id = fields.UUID(load_default=None)
    farrier_email = fields.Email(load_default=None, validate=validate.Length(max=254))
    jurisdiction = fields.String(required=True, validate=validate.OneOf(codes(JURISDICTIONS)))


class ProblemForm(Schema):
    """The vet's diagnosis on a limb."""

    limb = fields.String(required=True, validate=validate.OneOf(codes(LIMBS)))
    condition = fields.String(required=True, validate=validate.OneOf(codes(CONDITIONS)))
    certainty = fields.String(required=True, validate=validate.OneOf(codes(CERTAINTIES)))
    words = words()
    happened_on = DateField(load_default=None)


class LimitForm(Schema):
    """A limit in numbers."""

    measure = fields.String(required=True, validate=validate.Length(max=60))
    stage = fields.String(required=True, validate=validate.OneOf(STAGES))
    at_least = DecimalField(minimum=-1000, maximum=1000, load_default=None)
    at_most = DecimalField(minimum=-1000, maximum=1000, load_default=None)
    strength = fields.String(required=True, validate=validate.OneOf(["must", "should"]))
    limb = fields.String(load_default=None, validate=validate.OneOf(codes(LIMBS)))
    reason = words()
    review_on = DateField(load_default=None)
    replaces_id = fields.UUID(load_default=None)


class WithdrawForm(Schema):
    """Take a limit back, with the reason."""

    reason = words(required=True)


class ReferralForm(Schema):
    """Send the case to the farrier."""

    limbs = fields.List(fields.String(validate=validate.OneOf(codes(LIMBS))), load_default=list)
    urgency = fields.String(required=True, validate=validate.OneOf(codes(URGENCIES)))
    goals = words(required=True)
    open_to_farrier = words()
    no_limits = fields.Boolean(load_default=False)
    contradiction_reason = words()


class WordsForm(Schema):
    """A sentence that goes with a move."""

    words = words()


class ObservationForm(Schema):
    """What was seen."""

    limb = fields.String(load_default=None, validate=validate.OneOf(codes(LIMBS)))
    about = fields.String(required=True, validate=validate.OneOf(codes(SUBJECTS)))
    words = words(required=True)
    happened_on = DateField(load_default=None)


class FlagForm(Schema):
    """A red flag."""

    sign = fields.String(required=True, validate=validate.OneOf(codes(SIGNS)))
    limb = fields.String(load_default=None, validate=validate.OneOf(codes(LIMBS)))
    tetanus = fields.String(load_default=None, validate=validate.OneOf(codes(TETANUS)))
    words = words()


class FlagAnswerForm(Schema):
    """The vet's answer to a red flag."""

    answer = fields.String(required=True, validate=validate.OneOf(["resolved", "managed"]))
    reason = words(required=True)
    within = words()
    tetanus = fields.String(load_default=None, validate=validate.OneOf(codes(TETANUS)))
    until = DateField(load_default=None)


class CloseForm(Schema):
    """Close the case with its outcome."""

    outcome = fields.String(required=True, validate=validate.OneOf(codes(OUTCOMES)))
    words = words()
