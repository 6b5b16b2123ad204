"""Who is acting: a frozen picture of one signed-in person."""

from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True, slots=True)
class MembershipInfo:
    """One role of a person, and the organisation it is for (none for an owner)."""

    organisation_id: UUID | None
    organisation_name: str | None
    kind: str | None
    role: str


@dataclass(frozen=True, slots=True)
class Actor:
    """A signed-in person; also what the login library takes for a user."""

    person_id: UUID
    name: str
    email: str
    session_id: UUID
    memberships: tuple[MembershipInfo, ...] = ()

    @property
    def roles(self) -> tuple[str, ...]:
        """Return the roles, each once, in the order they were given."""
        return tuple(dict.fromkeys(membership.role for membership in self.memberships))

    @property
    def organisation_ids(self) -> tuple[UUID, ...]:
        """Return the organisations this person works for, each once."""
        found = (membership.organisation_id for membership in self.memberships)
        return tuple(dict.fromkeys(each for each in found if each is not None))

    @property
    def is_authenticated(self) -> bool:
        """Say that this person has signed in."""
        return True

    @property
    def is_active(self) -> bool:
        """Say that this person may act; a revoked one never becomes an actor."""
        return True

    @property
    def is_anonymous(self) -> bool:
        """Say that this person is known."""
        return False

    def get_id(self) -> str:
        """Return the identifier the login library asks for."""
        return str(self.session_id)
