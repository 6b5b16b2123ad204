"""What one person may see and be on one case."""

from dataclasses import dataclass
from uuid import UUID

from referral.core.workflow import LAWS, CaseState, Move, Role, why_not
from referral.errors import NotAllowed, WrongState


@dataclass(frozen=True, slots=True)
class CaseAccess:
    """A case as one actor sees it: which case, which person, which roles, what state.

    ``revision`` is the number of the last entry; a form sends it back so that a
    stale one can be told.
    """

    case_id: UUID
    number: int
    horse_id: UUID
    jurisdiction: str
    zone: str
    actor_id: UUID
    roles: tuple[Role, ...]
    state: CaseState
    revision: int

    def role_for(self, move: Move) -> Role:
        """Return the role in which this person makes the move.

        Raises
        ------
        NotAllowed
            If none of the person's roles may ever make it.
        WrongState
            If the case is not at that point.
        """
        entitled = [role for role in self.roles if role in LAWS[move].roles]
        if not entitled:
            raise NotAllowed(why_not(self.state, self.roles[0], move))
        reason = why_not(self.state, entitled[0], move)
        if reason:
            raise WrongState(reason)
        return entitled[0]

    def may(self, move: Move) -> bool:
        """Say whether this person can make the move now."""
        return any(not why_not(self.state, role, move) for role in self.roles)

    @property
    def is_my_turn(self) -> bool:
        """Say whether the case waits on this person."""
        return self.state.turn in self.roles
