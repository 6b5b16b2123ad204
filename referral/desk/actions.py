"""What whoever looks at a case can do next: the one main thing first, the rest after it."""

from dataclasses import dataclass

from referral.core.workflow import Move, Stage
from referral.desk.pages import CasePage


@dataclass(frozen=True, slots=True)
class Action:
    """Something that can be done: its words, and the address path below the case."""

    label: str
    path: str
    is_main: bool = False
    is_post: bool = False


def actions_for(page: CasePage) -> tuple[Action, ...]:
    """Return the actions open to whoever looks, the main one first."""
    access, state = page.access, page.access.state
    main = [
        Action(label, path.format(plan=state.plan_n, reset=state.reset_n), True, is_post)
        for stage, move, label, path, is_post in _MAIN
        if state.stage is stage and access.may(move)
    ]
    more = [
        Action(label, path.format(plan=state.plan_n, reset=state.reset_n))
        for move, label, path in _MORE
        if access.may(move)
    ]
    return (*main, *more)


_MAIN: tuple[tuple[Stage, Move, str, str, bool], ...] = (
    (Stage.OPENED, Move.SEND_REFERRAL, "Send the referral", "referrals/new", False),
    (Stage.ASKED, Move.SEND_REFERRAL, "Send the referral", "referrals/new", False),
    (Stage.REFERRED, Move.ACKNOWLEDGE, "Acknowledge the referral", "acknowledgements", True),
    (Stage.QUESTION, Move.ANSWER_QUESTION, "Answer the question", "answers/new", False),
    (Stage.PLANNING, Move.SUBMIT_PLAN, "Write the plan", "plans/new", False),
    (Stage.REVIEW, Move.AGREE_PLAN, "Review plan {plan}", "plans/{plan}", False),
    (Stage.AMENDED, Move.ACCEPT_AMENDMENT, "Answer the vet's changes", "plans/{plan}", False),
    (Stage.SIGNING, Move.SIGN_PLAN, "Sign the agreed plan", "plans/{plan}/signature", False),
    (Stage.CONSENT, Move.GIVE_CONSENT, "Record consent", "plans/{plan}/consents/new", False),
    (Stage.FITTING, Move.RECORD_RESET, "Record what was fitted", "resets/new", False),
    (Stage.CORRECTING, Move.RECORD_RESET, "Put the record right", "resets/new", False),
    (Stage.COUNTERSIGN, Move.COUNTERSIGN, "Countersign reset {reset}", "resets/{reset}", False),
    (Stage.MONITORING, Move.SUBMIT_PLAN, "Plan the next reset", "plans/new", False),
)
_MORE: tuple[tuple[Move, str, str], ...] = (
    (Move.ADD_FILM, "Add a film", "films/new"),
    (Move.RECORD_READINGS, "Type readings", "readings/new"),
    (Move.SET_PROBLEM, "Record the problem", "problems/new"),
    (Move.SET_LIMIT, "Set a limit", "limits/new"),
    (Move.ASK_QUESTION, "Ask the vet a question", "questions/new"),
    (Move.ADD_OBSERVATION, "Record an observation", "observations/new"),
    (Move.RAISE_FLAG, "Raise a red flag", "red-flags/new"),
    (Move.CLOSE, "Close the case", "closures/new"),
    (Move.REOPEN, "Open the case again", "reopenings/new"),
)
