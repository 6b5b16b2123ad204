"""What templates may write with: the filters, given to the app."""

from datetime import datetime

from flask import Flask

from referral.web.codes import in_words, rule_name
from referral.web.wiring import wiring
from referral.web.written import day, limb, moment, number, quantity, unit_sign, words


def install(app: Flask) -> None:
    """Give templates these filters."""
    for name, filter_ in (
        ("day", day),
        ("moment", moment_in_zone),
        ("number", number),
        ("quantity", quantity),
        ("unit_sign", unit_sign),
        ("limb", limb),
        ("words", words),
        ("in_words", in_words),
        ("rule_name", rule_name),
    ):
        app.add_template_filter(filter_, name)


def moment_in_zone(value: datetime | None, zone: str | None = None) -> str:
    """Return a moment in the given zone, or in the instance's."""
    return moment(value, zone or wiring().settings.zone)
