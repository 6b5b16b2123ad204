"""States of a case and the moves between them: one table.

A case's state is never stored. It is worked out from the entries of its
timeline by :func:`state_of`, so that a state is always something that somebody
did on some day. Nothing here reads a clock or a database.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from types import SimpleNamespace
from typing import Any

from referral.core.errors import WrongMove
from referral.core.ground import SOLID, Moved, moved_ground
from referral.core.moves import Move, Role, Stage

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


@dataclass(frozen=True, slots=True)
class Law:
    """Who may make a move, from where, and what it leads to.

    ``leads_to`` None leaves the stage as it is. ``pauses`` says that a live red
    flag stops the move; recording what was seen or done is never stopped.
    """

    roles: frozenset[Role]
    stages: frozenset[Stage]
    leads_to: Stage | None = None
    pauses: bool = False


_V, _F, _A, _O, _C = Role.VET, Role.FARRIER, Role.APPRENTICE, Role.OWNER, Role.COORDINATOR
_CLINICAL = frozenset({_V, _F})
_LIVE = frozenset(set(Stage) - {Stage.NEW, Stage.CLOSED})
_KNOWN = frozenset(set(Stage) - {Stage.NEW})
_PLANNED = frozenset({Stage.PLANNING, Stage.MONITORING, Stage.REVIEW, Stage.AMENDED})
_AGREED = frozenset({Stage.SIGNING, Stage.CONSENT})
_UNDER_WAY = frozenset({Stage.REVIEW, Stage.AMENDED, Stage.SIGNING, Stage.CONSENT, Stage.FITTING})


def _law(
    roles: Iterable[Role],
    stages: Iterable[Stage],
    leads_to: Stage | None = None,
    *,
    pauses: bool = False,
) -> Law:
    return Law(frozenset(roles), frozenset(stages), leads_to, pauses)


LAWS: Mapping[Move, Law] = {
    Move.OPEN_CASE: _law({_V}, {Stage.NEW}, Stage.OPENED),
    Move.ASK_EXAMINATION: _law({_F, _O}, {Stage.NEW}, Stage.ASKED),
    Move.TAKE_UP: _law({_V}, {Stage.ASKED}, Stage.OPENED),
    Move.TURN_DOWN: _law({_V}, {Stage.ASKED}, Stage.CLOSED),
    Move.SEND_REFERRAL: _law(
        {_V},
        {Stage.OPENED, Stage.ASKED, Stage.QUESTION, Stage.PLANNING, Stage.MONITORING},
        Stage.REFERRED,
    ),
    Move.ACKNOWLEDGE: _law({_F}, {Stage.REFERRED}, Stage.PLANNING),
    Move.ASK_QUESTION: _law({_F}, {Stage.REFERRED, Stage.PLANNING, Stage.AMENDED}, Stage.QUESTION),
    Move.ANSWER_QUESTION: _law({_V}, {Stage.QUESTION}, Stage.PLANNING),
    Move.SUBMIT_PLAN: _law({_F}, _PLANNED, Stage.REVIEW, pauses=True),
    Move.AGREE_PLAN: _law({_V}, {Stage.REVIEW}, Stage.SIGNING, pauses=True),
    Move.AMEND_PLAN: _law({_V}, {Stage.REVIEW}, Stage.AMENDED, pauses=True),
    Move.ACCEPT_AMENDMENT: _law({_F}, {Stage.AMENDED}, Stage.REVIEW, pauses=True),
    Move.SEND_BACK: _law({_V}, {Stage.REVIEW}, Stage.PLANNING),
    Move.SIGN_PLAN: _law({_F}, {Stage.SIGNING}, Stage.CONSENT, pauses=True),
    Move.GIVE_CONSENT: _law({_O, _V, _F}, {Stage.CONSENT}, Stage.FITTING),
    Move.DECLINE_CONSENT: _law({_O, _V, _F}, {Stage.CONSENT, Stage.FITTING}, Stage.PLANNING),
    Move.RECORD_RESET: _law({_F}, {Stage.FITTING, Stage.CORRECTING}, Stage.COUNTERSIGN),
    Move.COUNTERSIGN: _law({_V}, {Stage.COUNTERSIGN}, Stage.MONITORING),
    Move.ASK_CORRECTION: _law({_V}, {Stage.COUNTERSIGN}, Stage.CORRECTING),
    Move.SET_RECHECK: _law(_CLINICAL, _LIVE),
    Move.BOOK_VISIT: _law({_V, _F, _C}, _LIVE),
    Move.SET_LIMIT: _law({_V}, _LIVE),
    Move.SET_PROBLEM: _law({_V}, _LIVE),
    Move.ADD_FILM: _law({_V}, _LIVE),
    Move.MEASURE_FILM: _law({_V}, _LIVE),
    Move.ADD_PHOTO: _law({_V, _F, _A, _O}, _LIVE),
    Move.MEASURE_PHOTO: _law(_CLINICAL, _LIVE),
    Move.RECORD_READINGS: _law(_CLINICAL, _LIVE),
    Move.ADD_OBSERVATION: _law({_V, _F, _A, _O}, _LIVE),
    Move.ADD_CALL_NOTE: _law(_CLINICAL, _LIVE),
    Move.CONFIRM_CALL_NOTE: _law({_V, _F, _O}, _LIVE),
    Move.NOTE_MEDICATION: _law({_V}, _LIVE),
    Move.GRADE_LAMENESS: _law({_V}, _LIVE),
    Move.CHECK_AFTER_FITTING: _law({_V, _F, _O}, _LIVE),
    Move.CHECK_SUPPORT_LIMB: _law({_V, _F, _O}, _LIVE),
    Move.RECORD_EMERGENCY: _law(_CLINICAL, _KNOWN),
    Move.STEP_DOWN: _law(_CLINICAL, _LIVE),
    Move.RENEW_DEVICE: _law(_CLINICAL, _LIVE),
    Move.ACKNOWLEDGE_CAUTION: _law(_CLINICAL, _LIVE),
    Move.RAISE_FLAG: _law({_V, _F, _A, _O, _C}, _KNOWN),
    Move.ANSWER_FLAG: _law({_V}, _KNOWN),
    Move.JUDGE_AGAIN: _law(_CLINICAL, {Stage.REVIEW, Stage.AMENDED, *_AGREED}),
    Move.INVITE: _law({_V, _F, _C}, _KNOWN),
    Move.TAKE_INVITE_BACK: _law({_V, _F, _C}, _KNOWN),
    Move.JOIN: _law({_V, _F, _A, _O, _C}, _KNOWN),
    Move.HAND_OVER: _law({_V, _F, _C}, _KNOWN),
    Move.SIGN_SHEET: _law({_V}, _KNOWN),
    Move.CLOSE: _law({_V}, _LIVE, Stage.CLOSED),
    Move.REOPEN: _law({_V}, {Stage.CLOSED}, Stage.MONITORING),
}
"""The legal moves. Everything that asks what may be done asks this table."""

TURN: Mapping[Stage, Role | None] = {
    Stage.NEW: None,
    Stage.OPENED: _V,
    Stage.ASKED: _V,
    Stage.REFERRED: _F,
    Stage.QUESTION: _V,
    Stage.PLANNING: _F,
    Stage.REVIEW: _V,
    Stage.AMENDED: _F,
    Stage.SIGNING: _F,
    Stage.CONSENT: _O,
    Stage.FITTING: _F,
    Stage.COUNTERSIGN: _V,
    Stage.CORRECTING: _F,
    Stage.MONITORING: _F,
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

    ``plan_n`` and ``reset_n`` count from 1; 0 means none yet. ``live_flags`` are
    the ids of red flags that no vet has answered; ``managed`` are those known and managed,
    each with the last day on which that holds, as :func:`on_day` sees to. ``left_at`` is
    where a plan under way stood before the ground it rests on ``moved``; it goes on from
    there once that is back.
    """

    stage: Stage = Stage.NEW
    plan_n: int = 0
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
    move, role, facts = Move(happening.kind), Role(happening.role), happening.facts
    changes: dict[str, object] = {"vet_to_see": state.vet_to_see and role is not Role.VET}
    stage = LAWS[move].leads_to or state.stage
    if facts.get("changes_basis") and state.stage in _UNDER_WAY:
        stage, left, moved = _on_moved_ground(state, facts)
        changes |= {"left_at": left, "moved": moved}
    elif LAWS[move].leads_to is not None or move is Move.JUDGE_AGAIN:
        changes |= {"left_at": None, "moved": SOLID}
    if move is Move.REOPEN and state.reset_n == 0:
        stage = Stage.OPENED
    if move is Move.JUDGE_AGAIN and stage in _AGREED:
        stage = Stage.REVIEW
    changes["stage"] = stage
    changes |= _facts_change(state, move, facts)
    changes |= _dates_change(facts)
    return changes


def _on_moved_ground(
    state: CaseState, facts: Mapping[str, object]
) -> tuple[Stage, Stage | None, Moved]:
    moved = moved_ground(state.moved, facts.get("ground"))
    left = state.left_at or state.stage
    if moved == SOLID:
        return left, None, moved
    return Stage.REVIEW, left, moved


def _facts_change(state: CaseState, move: Move, facts: Mapping[str, object]) -> dict[str, object]:
    match move:
        case Move.SUBMIT_PLAN | Move.AMEND_PLAN:
            return {"plan_n": int(str(facts["n"]))}
        case Move.SEND_REFERRAL:
            return {"referral_n": state.referral_n + 1}
        case Move.RECORD_RESET:
            return {"reset_n": int(str(facts["n"]))}
        case Move.RAISE_FLAG:
            return {"live_flags": state.live_flags | {str(facts.get("flag"))}}
        case Move.ANSWER_FLAG:
            flag = frozenset({str(facts.get("flag"))})
            managed = _still_managed(state, flag, facts)
            return {"live_flags": state.live_flags - flag, "managed": managed}
        case Move.RECORD_EMERGENCY:
            return {"vet_to_see": True}
        case _:
            return {}


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


def _dates_change(facts: Mapping[str, object]) -> dict[str, object]:
    due, recheck, owner = facts.get("due_on"), facts.get("recheck_on"), facts.get("recheck_owner")
    changes: dict[str, object] = {}
    if due:
        changes["due_on"] = date.fromisoformat(str(due))
    if recheck:
        changes["recheck_on"] = date.fromisoformat(str(recheck))
    if owner:
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
