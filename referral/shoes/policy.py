"""Whose stock a person may see and change: a farrier that of their own forges, nobody else any."""

from dataclasses import dataclass
from uuid import UUID

from referral.accounts.actor import Actor
from referral.accounts.models import MembershipRole, OrganisationKind
from referral.errors import NotFound


@dataclass(frozen=True, slots=True)
class Forge:
    """A forge that a farrier works for."""

    organisation_id: UUID
    name: str


def forges_of(actor: Actor) -> tuple[Forge, ...]:
    """Return the forges this person is a farrier of, each once, in the order they were joined.

    Raises
    ------
    NotFound
        If there is none: a stock list is for the forge's own farriers only.
    """
    found = {
        each.organisation_id: Forge(each.organisation_id, each.organisation_name or "")
        for each in actor.memberships
        if each.organisation_id is not None
        and each.kind == OrganisationKind.FORGE
        and each.role == MembershipRole.FARRIER
    }
    if not found:
        raise NotFound("There is no stock of shoes that you may see: a forge’s farriers keep it.")
    return tuple(found.values())


def keeps_stock(actor: Actor) -> bool:
    """Say whether this person is a farrier of some forge."""
    try:
        return bool(forges_of(actor))
    except NotFound:
        return False
