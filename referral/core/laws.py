"""The legal moves: one table of who may do what, from where, and what it leads to."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from referral.core.moves import Move, Role, Stage


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
    Move.CORRECT_OWNER: _law({_V}, _KNOWN),
    Move.SIGN_SHEET: _law({_V}, _KNOWN),
    Move.ERASE: _law({_V, _C}, _KNOWN),
    Move.PLACE_HOLD: _law({_V, _C}, _KNOWN),
    Move.LIFT_HOLD: _law({_V, _C}, _KNOWN),
    Move.CLOSE: _law({_V}, _LIVE, Stage.CLOSED),
    Move.REOPEN: _law({_V}, {Stage.CLOSED}, Stage.MONITORING),
}
"""The legal moves. Everything that asks what may be done asks this table."""
