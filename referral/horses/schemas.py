"""The forms that record a horse and mend its owner."""

from marshmallow import Schema, fields, validate

from referral.horses.choices import ANIMALS, SEXES
from referral.web.forms import DecimalField


class HorseForm(Schema):
    """What is typed of a horse and its owner."""

    name = fields.String(required=True, validate=validate.Length(max=80))
    animal = fields.String(
        required=True, validate=validate.OneOf([value for value, _label in ANIMALS])
    )
    chip = fields.String(load_default=None, validate=validate.Length(max=40))
    ueln = fields.String(load_default=None, validate=validate.Length(max=40))
    born_year = fields.Integer(load_default=None, validate=validate.Range(1970, 2100))
    breed = fields.String(load_default=None, validate=validate.Length(max=80))
    sex = fields.String(
        load_default=None, validate=validate.OneOf([value for value, _label in SEXES])
    )
    colour = fields.String(load_default=None, validate=validate.Length(max=40))
    weight_kg = DecimalField("kg", minimum=20, maximum=1500, load_default=None)
    yard = fields.String(load_default=None, validate=validate.Length(max=200))
    owner_name = fields.String(required=True, validate=validate.Length(max=80))
    owner_email = fields.Email(required=True, validate=validate.Length(max=254))


class OwnerForm(Schema):
    """Who the owner is, typed anew."""

    owner_name = fields.String(required=True, validate=validate.Length(max=80))
    owner_email = fields.Email(required=True, validate=validate.Length(max=254))
