"""What the pages about mail take."""

from typing import Any
from zoneinfo import available_timezones

from marshmallow import Schema, ValidationError, fields, post_load, validate, validates_schema

from referral.notices.policy import Topic, Wishes

HOURS = tuple(range(24))
ZONES = tuple(sorted(zone for zone in available_timezones() if "/" in zone or zone == "UTC"))
NO_ZONE = "Choose a time zone from the list."
BOTH = "Quiet hours need a beginning and an end."
SAME = "Choose an end other than the beginning."

_hour = validate.OneOf([str(hour) for hour in HOURS], error="Choose an hour from the list.")


class Nothing(Schema):
    """A form that says all by being sent."""


class WishesForm(Schema):
    """Which mail, in what rhythm, not in which hours."""

    about = fields.List(fields.String(validate=validate.OneOf(list(Topic))), load_default=list)
    rhythm = fields.String(required=True, validate=validate.OneOf(["at_once", "daily"]))
    daily_hour = fields.String(required=True, validate=_hour)
    quiet_from = fields.String(load_default=None, validate=_hour)
    quiet_until = fields.String(load_default=None, validate=_hour)
    zone = fields.String(required=True, validate=validate.OneOf(ZONES, error=NO_ZONE))

    @validates_schema
    def _check_quiet(self, data: dict[str, Any], **_kwargs: Any) -> None:  # noqa: ANN401 - the library's signature
        start, end = data.get("quiet_from"), data.get("quiet_until")
        if (start is None) != (end is None):
            raise ValidationError(BOTH, "quiet_until" if end is None else "quiet_from")
        if start is not None and start == end:
            raise ValidationError(SAME, "quiet_until")

    @post_load
    def _make(self, data: dict[str, Any], **_kwargs: Any) -> Wishes:  # noqa: ANN401 - the library's signature
        start, end = data["quiet_from"], data["quiet_until"]
        return Wishes(
            zone=data["zone"],
            without=frozenset(each.value for each in Topic if each not in data["about"]),
            daily=data["rhythm"] == "daily",
            daily_hour=int(data["daily_hour"]),
            quiet_from=None if start is None else int(start),
            quiet_until=None if end is None else int(end),
        )
