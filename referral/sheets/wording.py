"""How a sheet writes days, times, numbers and the closed words of the record."""

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from typing import Any

from referral.plans.rows import Value
from referral.web.written import day, number

LIMBS = {"LF": "Left fore", "RF": "Right fore", "LH": "Left hind", "RH": "Right hind"}
ROLES = {"vet": "Vet", "farrier": "Farrier", "owner": "Owner", "coordinator": "Coordinator"}
VERDICTS = {
    "WITHIN": "within",
    "OUTSIDE": "OUTSIDE",
    "TOO_CLOSE": "too close to call",
    "CANNOT_TELL": "cannot tell",
    "NOT_APPLICABLE": "not applicable",
}
STAGES = {
    "now": "now",
    "after_fit": "after fitting",
    "at_due": "when due",
    "as_fitted": "as fitted",
    "change": "change",
}
LIMIT_FROM = {"case": "this case", "practice": "practice rule", "shipped": "shipped rule"}
SHOWN_BY_ONE_DECIMAL, SHOWN_BY_TWO = 0.025, 0.0025
"""Below these u, U = 2u would round to zero at one decimal, and at two."""


class Level(StrEnum):
    """How long a signature can be checked. Source: ETSI EN 319 142-1, 6."""

    BASIC = "B-B"
    STAMPED = "B-T"
    LASTING = "B-LT"


LEVELS: Mapping[Level, str] = {
    Level.BASIC: "It carries no time stamp: its time is this instance’s own word.",
    Level.STAMPED: "It carries a time stamp; what is needed to check it later, when certificates "
    "have ended, could not be had.",
    Level.LASTING: "It carries a time stamp, and what is needed to check it later.",
}
NOT_ASKED = "Whether your own certificate was withdrawn could not be asked."


def moment(value: datetime) -> str:
    """Return an aware time with its zone: 26 Nov 2026, 14:05 UTC."""
    return f"{day(value)}, {value:%H:%M} {value.tzname()}"


def named(name: Any) -> str:  # noqa: ANN401 - asn1crypto carries no types
    """Return who a certificate's name is of: its common name, else its organisation, else all."""
    parts = name.native
    return str(parts.get("common_name") or parts.get("organization_name") or name.human_friendly)


def stamped(at: datetime, by: str | None) -> str:
    """Return what a time authority said, as a sentence without its stop."""
    return f"time stamped {moment(at)} by {by or 'a time authority'}"


def with_u(value: Value, unit: str) -> str:
    """Return ``4.0 ± 1.4`` with U = 2u; two decimals for ratios and very small uncertainties."""
    is_said = value.u >= SHOWN_BY_TWO
    decimals = 2 if unit == "ratio" or (is_said and value.u < SHOWN_BY_ONE_DECIMAL) else 1
    text = number(value.value, decimals)
    return f"{text} ± {number(2 * value.u, decimals)}" if is_said else text
