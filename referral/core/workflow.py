"""States of a case and the moves between them: one table.

A case's state is never stored. It is worked out from the entries of its
timeline by :func:`state_of`, so that a state is always something that somebody
did on some day. Nothing here reads a clock or a database.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from types import SimpleNamespace
from typing import Any

from referral.core.errors import WrongMove
from referral.core.ground import SOLID, Moved, bears_on, feet_of, moved_ground
from referral.core.laws import LAWS, Law
from referral.core.moves import ABOUT_THE_RECORD, Move, Role, Stage

__all__ = [
    "LAWS",
    "TASK",
    "TURN",
    "CaseState",
    "Happening",
    "Law",
    "Move",
    "Role",
    "Stage",
    "after",
    "check_move",
    "legal_moves",
    "on_day",
    "state_of",
    "why_not",
]


_ROLES = frozenset(Role)
_AGREED = frozenset({Stage.SIGNING, Stage.CONSENT})
_UNDER_WAY = frozenset({Stage.REVIEW, Stage.AMENDED, Stage.SIGNING, Stage.CONSENT, Stage.FITTING})
_LEADS_TO: Mapping[str, Stage | None] = {move.value: law.leads_to for move, law in LAWS.items()}

TURN: Mapping[Stage, Role | None] = {
    Stage.NEW: None,
    Stage.OPENED: Role.VET,
    Stage.ASKED: Role.VET,
    Stage.REFERRED: Role.FARRIER,
    Stage.QUESTION: Role.VET,
    Stage.PLANNING: Role.FARRIER,
    Stage.REVIEW: Role.VET,
    Stage.AMENDED: Role.FARRIER,
    Stage.SIGNING: Role.FARRIER,
    Stage.CONSENT: Role.OWNER,
    Stage.FITTING: Role.FARRIER,
    Stage.COUNTERSIGN: Role.VET,
    Stage.CORRECTING: Role.FARRIER,
    Stage.MONITORING: Role.FARRIER,
    Stage.CLOSED: None,
}

TASK: Mapping[Stage, str] = {
    Stage.NEW: "Nothing yet",
    Stage.OPENED: "Measure and send the referral",
    Stage.ASKED: "Answer the request for an examination",
    Stage.REFERRED: "Acknowledge the referral",
    Stage.QUESTION: "Answer the farrier's question",
    Stage.PLANNING: "Write the plan",
    Stage.REVIEW: "Review the plan",
    Stage.AMENDED: "Answer the vet's changes",
    Stage.SIGNING: "Sign the agreed plan",
    Stage.CONSENT: "Consent to the plan",
    Stage.FITTING: "Fit and record the reset",
    Stage.COUNTERSIGN: "Countersign what was fitted",
    Stage.CORRECTING: "Put the record right",
    Stage.MONITORING: "Next reset",
    Stage.CLOSED: "Closed",
}


@dataclass(frozen=True, slots=True)
class CaseState:
    """Where a case stands, worked out from its entries.

    ``plan_n`` and ``reset_n`` count from 1; 0 means none yet. ``plan_limbs`` are the feet that
    the plan is of, empty for one from before they were kept. ``live_flags`` are
    the ids of red flags that no vet has answered; ``managed`` are those known and managed,
    each with the last day on which that holds, as :func:`on_day` sees to. ``left_at`` is
    where a plan under way stood before the ground it rests on ``moved``; it goes on from
    there once that is back.
    """

    stage: Stage = Stage.NEW
    plan_n: int = 0
    plan_limbs: frozenset[str] = field(default_factory=frozenset)
    reset_n: int = 0
    referral_n: int = 0
    live_flags: frozenset[str] = field(default_factory=frozenset)
    managed: Mapping[str, date] = field(default_factory=dict)
    vet_to_see: bool = False
    due_on: date | None = None
    recheck_on: date | None = None
    recheck_owner: str | None = None
    left_at: Stage | None = None
    moved: Moved = SOLID

    @property
    def turn(self) -> Role | None:
        """Whose turn it is; a live red flag or emergency work puts it on the vet."""
        if self.live_flags or self.vet_to_see:
            return Role.VET
        return TURN[self.stage]

    @property
    def task(self) -> str:
        """What is waited for, in plain words."""
        if self.live_flags:
            return "Answer the red flag"
        if self.vet_to_see:
            return "See the emergency work"
        return TASK[self.stage]


FIELDS = tuple(each.name for each in fields(CaseState))


@dataclass(frozen=True, slots=True)
class Happening:
    """One entry as the state sees it: its kind, the actor's role, and its facts."""

    kind: str
    role: str
    facts: Mapping[str, object] = field(default_factory=dict)


def state_of(happenings: Iterable[Happening]) -> CaseState:
    """Return the state that a case's entries, in order, lead to.

    Raises
    ------
    ValueError
        If an entry's kind or role is none that this table knows.

    Examples
    --------
    >>> state_of([Happening("case_opened", "vet")]).task
    'Measure and send the referral'
    """
    return _folded(CaseState(), happenings)


def after(state: CaseState, happening: Happening) -> CaseState:
    """Return the state after one more entry.

    Raises
    ------
    ValueError
        If the entry's kind or role is none that this table knows.

    Examples
    --------
    >>> referred = CaseState(stage=Stage.REFERRED)
    >>> after(referred, Happening("referral_acknowledged", "farrier")).task
    'Write the plan'
    """
    return _folded(state, (happening,))


def _folded(state: CaseState, happenings: Iterable[Happening]) -> CaseState:
    # pages fold long histories: one state is written at the end, not one at each entry
    at: Any = SimpleNamespace(**{name: getattr(state, name) for name in FIELDS})
    for happening in happenings:
        vars(at).update(_changes(at, happening))
    return CaseState(**vars(at))


def _changes(state: CaseState, happening: Happening) -> dict[str, object]:
    """Return the fields that one more entry sets, each with its value."""
    facts, leads_to = happening.facts, _LEADS_TO.get(happening.kind)
    if happening.kind not in _LEADS_TO or happening.role not in _ROLES:
        message = f"No entry is a {happening.kind!r} by a {happening.role!r}."
        raise ValueError(message)
    if happening.kind in ABOUT_THE_RECORD:
        return {}
    changes: dict[str, object] = {}
    if state.vet_to_see and happening.role == Role.VET:
        changes["vet_to_see"] = False
    moves = facts.get("changes_basis") and bears_on(facts.get("ground"), state.plan_limbs)
    if moves and state.stage in _UNDER_WAY:
        stage, left, moved = _on_moved_ground(state, facts)
        changes |= {"stage": stage, "left_at": left, "moved": moved}
    elif leads_to is not None or happening.kind == Move.JUDGE_AGAIN:
        changes |= {
            "stage": _led_to(state, happening.kind, leads_to),
            "left_at": None,
            "moved": SOLID,
        }
    if change := _CHANGE.get(happening.kind):
        changes |= change(state, facts)
    if not _DATES.isdisjoint(facts):
        changes |= _dates_change(facts)
    return changes


def _led_to(state: CaseState, kind: str, leads_to: Stage | None) -> Stage:
    if kind == Move.REOPEN and state.reset_n == 0:
        return Stage.OPENED
    if kind == Move.JUDGE_AGAIN and state.stage in _AGREED:
        return Stage.REVIEW
    return leads_to or state.stage


def _on_moved_ground(
    state: CaseState, facts: Mapping[str, object]
) -> tuple[Stage, Stage | None, Moved]:
    moved = moved_ground(state.moved, facts.get("ground"))
    left = state.left_at or state.stage
    if moved == SOLID:
        return left, None, moved
    return Stage.REVIEW, left, moved


Change = Callable[[CaseState, Mapping[str, object]], dict[str, object]]


def _answered(state: CaseState, facts: Mapping[str, object]) -> dict[str, object]:
    flag = frozenset({str(facts.get("flag"))})
    managed = _still_managed(state, flag, facts)
    return {"live_flags": state.live_flags - flag, "managed": managed}


def _planned(_state: CaseState, facts: Mapping[str, object]) -> dict[str, object]:
    return {"plan_n": int(str(facts["n"])), "plan_limbs": feet_of(facts)}


def _corrected(state: CaseState, facts: Mapping[str, object]) -> dict[str, object]:
    """Return the case to consent where it was given by somebody who is not the owner."""
    places = ("stage", "left_at") if facts.get("consent_falls") else ()
    return {at: Stage.CONSENT for at in places if getattr(state, at) is Stage.FITTING}


_CHANGE: Mapping[str, Change] = {
    Move.SUBMIT_PLAN: _planned,
    Move.AMEND_PLAN: _planned,
    Move.SEND_REFERRAL: lambda state, _facts: {"referral_n": state.referral_n + 1},
    Move.RECORD_RESET: lambda _state, facts: {"reset_n": int(str(facts["n"]))},
    Move.RAISE_FLAG: lambda state, facts: {
        "live_flags": state.live_flags | {str(facts.get("flag"))}
    },
    Move.ANSWER_FLAG: _answered,
    Move.RECORD_EMERGENCY: lambda _state, _facts: {"vet_to_see": True},
    Move.CORRECT_OWNER: _corrected,
}
"""What else an entry sets, by its kind."""


def _still_managed(
    state: CaseState, flag: frozenset[str], facts: Mapping[str, object]
) -> Mapping[str, date]:
    kept = {each: until for each, until in state.managed.items() if each not in flag}
    until = facts.get("until")
    if until:
        kept.update((each, date.fromisoformat(str(until))) for each in flag)
    return kept


def on_day(state: CaseState, today: date) -> CaseState:
    """Return the state as it is on a day of the yard.

    A red flag that is known and managed holds through its last day; after it the flag is
    live again, and plans and planned work wait for a vet's new answer.

    Examples
    --------
    >>> managed = CaseState(stage=Stage.PLANNING, managed={"f": date(2026, 12, 1)})
    >>> [on_day(managed, date(2026, 12, day)).task for day in (1, 2)]
    ['Write the plan', 'Answer the red flag']
    """
    over = {each for each, until in state.managed.items() if until < today}
    if not over:
        return state
    still = {each: until for each, until in state.managed.items() if each not in over}
    return replace(state, live_flags=state.live_flags | over, managed=still)


_DATES = frozenset({"due_on", "recheck_on", "recheck_owner"})


def _dates_change(facts: Mapping[str, object]) -> dict[str, object]:
    changes: dict[str, object] = {
        name: date.fromisoformat(str(facts[name]))
        for name in ("due_on", "recheck_on")
        if facts.get(name)
    }
    if owner := facts.get("recheck_owner"):
        changes["recheck_owner"] = str(owner)
    return changes


def why_not(state: CaseState, role: Role, move: Move) -> str:
    """Return why a move cannot be made now, in one sentence, or an empty string if it can.

    Examples
    --------
    >>> why_not(CaseState(stage=Stage.REVIEW), Role.FARRIER, Move.AGREE_PLAN)
    'Only the vet can do this.'
    """
    law = LAWS[move]
    if role not in law.roles:
        who = " or ".join(f"the {each.value}" for each in Role if each in law.roles)
        return f"Only {who} can do this."
    if state.stage is Stage.CLOSED and state.stage not in law.stages:
        return "The case is closed. A vet can open it again."
    if state.stage not in law.stages:
        return f"The case is not at that point; it waits for: {state.task.lower()}."
    if law.pauses and state.live_flags:
        return "A red flag is raised: plans and planned work wait until the vet has answered it."
    return ""


def check_move(state: CaseState, role: Role, move: Move) -> None:
    """Return nothing if the move is legal.

    Raises
    ------
    WrongMove
        If the table does not allow it; the message says why.

    Examples
    --------
    >>> check_move(CaseState(stage=Stage.REVIEW), Role.VET, Move.AGREE_PLAN)
    """
    reason = why_not(state, role, move)
    if reason:
        raise WrongMove(reason, at=move.value)


def legal_moves(state: CaseState, role: Role) -> tuple[Move, ...]:
    """Return every move that this role can make now, in the table's order.

    Examples
    --------
    >>> [m.value for m in legal_moves(CaseState(), Role.VET)]
    ['case_opened']
    """
    return tuple(move for move in LAWS if not why_not(state, role, move))
