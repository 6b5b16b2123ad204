"""What one person may see and be on one case."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from uuid import UUID

from referral.core.diary import Dated
from referral.core.workflow import LAWS, CaseState, Move, Role, why_not
from referral.errors import NotAllowed, WrongState


@dataclass(frozen=True, slots=True)
class CaseAccess:
    """A case as one actor sees it: which case, which person, which roles, what state.

    ``revision`` is the number of the last entry; a form sends it back so that a
    stale one can be told. ``history`` is what led to the state, in the order it was entered.
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
    history: Sequence[Dated] = field(default=(), repr=False, compare=False)

    def check_role(self, move: Move) -> None:
        """Return nothing if one of this person's roles may ever make the move.

        Raises
        ------
        NotAllowed
            If none may; says who does it.
        """
        if not self.may_ever(move):
            raise NotAllowed(self.why_not(move))

    def may_ever(self, *moves: Move) -> bool:
        """Say whether one of this person's roles may make one of these moves at some point."""
        return any(role in LAWS[move].roles for move in moves for role in self.roles)

    def role_for(self, move: Move) -> Role:
        """Return the role in which this person makes the move.

        Raises
        ------
        NotAllowed
            If none of the person's roles may ever make it.
        WrongState
            If the case is not at that point.
        """
        self.check_role(move)
        reason = self.why_not(move)
        if reason:
            raise WrongState(reason)
        return next(role for role in self.roles if role in LAWS[move].roles)

    def why_not(self, move: Move) -> str:
        """Return why this person cannot make the move now, or an empty string."""
        entitled = [role for role in self.roles if role in LAWS[move].roles]
        return why_not(self.state, (entitled or self.roles)[0], move)

    def may(self, move: Move) -> bool:
        """Say whether this person can make the move now."""
        return any(not why_not(self.state, role, move) for role in self.roles)

    @property
    def is_my_turn(self) -> bool:
        """Say whether the case waits on this person."""
        return self.state.turn in self.roles
