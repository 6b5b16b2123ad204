"""What an agreement asks of the vet, and what it is bound to.

A judging keeps, beside its findings, the canonical text of everything an agreement is bound to:

* ``plan`` and ``as_fitted``: the numbers of the plan, and of what was fitted;
* ``limits`` of the vet's in force;
* ``readings`` of each planned foot: its film with scale and landmarks, and typed readings;
* ``others``: the readings of the other foot of a pair for which nothing is planned, and whether
  it is a club foot, since left and right are compared;
* ``conditions`` of each planned foot, the ``animal``, and how fast its feet grew (``own_rates``);
* ``outside``: what was seen and measured on the outside of the foot, until the vet has agreed;
* ``rulebook``: the book with what the practice set in it, until the owner has consented.

The visit before, how long a device has been on, how lame the horse goes, its weight and papers,
red flags, the recheck and what was said in words are judged, and bind nothing. Whether an agreement
still holds is found by comparing that text with the one of today; nothing is ever recomputed from
floats for it.
"""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from typing import Any, Protocol

from referral.core.measure.readings import Reading
from referral.core.predict.growth import OwnRates
from referral.films.queries import basis_record
from referral.plans.subject import CLUB, FootFacts, Subject
from referral.storage.canonical import canonical_json

BINDING = frozenset({"breach", "red_flag"})


class Judgeable(Protocol):
    """A finding, stored or fresh."""

    verdict: str
    severity: str


def must_be_answered(finding: Judgeable) -> str:
    """Return ``waived``, ``seen`` or an empty string: what agreeing to a finding asks for.

    A broken limit at breach level, or one that cannot be told, wants a waiver
    with a reason; one that is too close to call wants a tick.
    """
    if finding.severity not in BINDING:
        return ""
    if finding.verdict in ("OUTSIDE", "CANNOT_TELL"):
        return "waived"
    return "seen" if finding.verdict == "TOO_CLOSE" else ""


def has_moved(
    stored: Mapping[str, Any], now: Mapping[str, Any], *, is_agreed: bool, is_consented: bool
) -> bool:
    """Say whether a plan's ground is now another than the one stored when it was judged.

    A part of which a judging of an earlier version kept nothing is not held against it.
    """
    set_aside = {
        *(("outside",) if is_agreed else ()),
        *(("rulebook",) if is_consented else ()),
        *(("others",) if "others" not in stored else ()),
    }
    then, today = (
        {key: value for key, value in each.items() if key not in set_aside}
        for each in (stored, now)
    )
    return canonical_json(then) != canonical_json(today)


def inputs_record(subject: Subject, rulebook_sha256: str) -> Mapping[str, Any]:
    """Return what an agreement is bound to besides the findings, as plain JSON values."""
    own = {limb: asdict(each) for limb, each in subject.own.items() if each != OwnRates()}
    outside = {limb: _outside_record(foot) for limb, foot in subject.feet.items()}
    return {
        **({"own_rates": own} if own else {}),
        "outside": {limb: each for limb, each in outside.items() if each},
        "plan": {limb: dict(content) for limb, content in subject.plans.items()},
        "as_fitted": None
        if subject.fitted is None
        else {limb: dict(content) for limb, content in subject.fitted.items()},
        "limits": [
            {key: _plain(value) for key, value in asdict(limit).items()} for limit in subject.limits
        ],
        "readings": {limb: basis_record(basis) for limb, basis in subject.bases.items()},
        "animal": subject.animal,
        "others": {limb: _other_record(subject, limb) for limb in sorted(subject.others)},
        "conditions": {limb: sorted(subject.conditions.get(limb, ())) for limb in subject.plans},
        "rulebook": rulebook_sha256,
    }


def _other_record(subject: Subject, limb: str) -> Mapping[str, Any]:
    """Return what the other foot of a pair is compared by, as plain JSON values."""
    readings = subject.others[limb].readings
    is_club = CLUB in subject.conditions.get(limb, frozenset())
    return {"readings": _values(readings), "is_club": is_club}


def _values(readings: Mapping[str, Reading]) -> Mapping[str, Any]:
    return {code: [each.value, each.u] for code, each in readings.items()}


def _outside_record(foot: FootFacts) -> Mapping[str, Any]:
    """Return what was seen and read on the foot itself, as plain JSON values."""
    said = {
        "readings": _values(foot.observed.readings),
        "heels_damaged": foot.heels_damaged,
        "girth_mm": foot.girth_mm,
        "film_doubts": list(foot.film_doubts) if foot.film_doubts else None,
    }
    return {key: value for key, value in said.items() if value not in (None, {})}


def _plain(value: Any) -> Any:  # noqa: ANN401 - a field of a limit, a JSON value out
    return value.isoformat() if isinstance(value, date) else value
