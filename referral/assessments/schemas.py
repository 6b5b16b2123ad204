"""The form of an assessment: its questions, and what was measured on the foot itself."""

from typing import Any

from marshmallow import Schema, fields, validate

from referral.assessments.choices import GIRTH, NUMBERS, PHOTO_SUBJECTS, QUESTIONS, Question
from referral.cases.choices import LIMBS, codes
from referral.cases.schemas import words
from referral.core.measure.registry import MEASURES
from referral.films.schemas import POSSIBLE
from referral.web.forms import DateField, DecimalField


def _answer(question: Question) -> fields.Field[Any]:
    known = validate.OneOf(codes(question.options))
    if question.takes_several:
        return fields.List(fields.String(validate=known), load_default=list)
    return fields.String(load_default=None, validate=known)


def _number(code: str) -> DecimalField:
    unit = MEASURES[code].unit
    least, most = POSSIBLE[unit]
    return DecimalField(unit, minimum=least, maximum=most, load_default=None)


AssessmentForm = Schema.from_dict(
    {
        "limb": fields.String(required=True, validate=validate.OneOf(codes(LIMBS))),
        "seen_on": DateField(required=True),
        "words": words(),
        **{code: _answer(question) for code, question in QUESTIONS.items()},
        **{code: _number(code) for code, _asks in NUMBERS},
        GIRTH: DecimalField("mm", minimum=100, maximum=700, load_default=None),
    },
    name="AssessmentForm",
)
"""What was seen and measured on one limb; every answer may be left out."""


class PhotosForm(Schema):
    """What the photos that are sent with it are of."""

    of = fields.String(required=True, validate=validate.OneOf(codes(PHOTO_SUBJECTS)))
