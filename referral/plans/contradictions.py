"""Limits that no plan could meet together on a foot as it was last read, before there is a plan."""

from collections.abc import Sequence
from datetime import date

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.contradictions import Contradiction
from referral.core.errors import CoreError
from referral.core.rules.contradiction import contradiction_of
from referral.plans.queries import Wanted, subject_of
from referral.plans.windows import limits_on, window_foot, words_of_limit


def contradictions_of(
    session: Session, access: CaseAccess, limbs: Sequence[str], on: date
) -> tuple[Contradiction, ...]:
    """Return, for each limb that has some, the vet's limits that contradict each other."""
    subject = subject_of(session, access, Wanted({limb: _nothing_yet(on) for limb in limbs}))
    found = []
    for limb in sorted(limbs):
        limits = limits_on(subject, limb)
        try:
            told = contradiction_of(window_foot(subject, limb, on), limits, on)
        except CoreError:
            continue  # what is wrong with this foot is said where it is planned
        if told.limits:
            names = tuple(words_of_limit(limits[place]) for place in told.limits)
            found.append(Contradiction(limb, names, told.others))
    return tuple(found)


def _nothing_yet(on: date) -> dict[str, object]:
    return {"fit_on": on.isoformat()}
