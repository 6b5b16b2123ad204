"""Who sets an organisation's rules: a practice's vets; its coordinators those on the record."""

from dataclasses import dataclass
from uuid import UUID

from referral.accounts.actor import Actor
from referral.accounts.models import MembershipRole, OrganisationKind
from referral.errors import NotAllowed, NotFound

CLERICAL = frozenset({"record"})
"""Topics in which nothing clinical is decided."""

NOBODY = "A practice’s vets set its rules; you work for none."
VETS = "This is a clinical limit: a vet of the practice sets it."


@dataclass(frozen=True, slots=True)
class Practice:
    """A practice that somebody sets rules for, and whether as its vet."""

    organisation_id: UUID
    name: str
    is_vet: bool

    def may_set(self, topic: str) -> bool:
        """Say whether rules of this topic may be set."""
        return self.is_vet or topic in CLERICAL


def practices_of(actor: Actor) -> tuple[Practice, ...]:
    """Return the practices whose vet or coordinator this person is, each once."""
    found: dict[UUID, Practice] = {}
    for each in actor.memberships:
        if each.organisation_id is None or each.kind != OrganisationKind.PRACTICE:
            continue
        if each.role not in (MembershipRole.VET, MembershipRole.COORDINATOR):
            continue
        is_vet = each.role == MembershipRole.VET
        before = found.get(each.organisation_id)
        found[each.organisation_id] = Practice(
            each.organisation_id,
            each.organisation_name or "",
            is_vet or (before is not None and before.is_vet),
        )
    return tuple(found.values())


def setters_of(actor: Actor, topic: str) -> tuple[Practice, ...]:
    """Return the practices for which this person may set rules of a topic.

    Raises
    ------
    NotAllowed
        If there is none; says who does it.
    """
    practices = practices_of(actor)
    found = tuple(each for each in practices if each.may_set(topic))
    if not found:
        raise NotAllowed(VETS if practices else NOBODY)
    return found


def named_practice(practices: tuple[Practice, ...], organisation_id: UUID | None) -> Practice:
    """Return the practice that is named, or the first one if none is.

    Raises
    ------
    NotFound
        If it is none of these.
    """
    if organisation_id is None:
        return practices[0]
    found = next((each for each in practices if each.organisation_id == organisation_id), None)
    if found is None:
        raise NotFound("This is not your practice.")
    return found
