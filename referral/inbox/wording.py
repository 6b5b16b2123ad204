"""What a mail says of each move: that something waits, and nothing of what is in the record.

A mail is not private: no horse, no person, no limb, no number but the case's own.
"""

from collections.abc import Mapping
from typing import Any

from referral.core.workflow import Move
from referral.notices.policy import FLAG_LAPSED, NOT_COMING, RECHECK_LATE, RULE_CHANGED

SAYS: Mapping[Move, str] = {
    Move.OPEN_CASE: "a case was opened with you",
    Move.ASK_EXAMINATION: "an examination is asked for",
    Move.TAKE_UP: "the examination you asked for was taken up",
    Move.TURN_DOWN: "the examination you asked for was answered",
    Move.SEND_REFERRAL: "a referral was sent to you",
    Move.ACKNOWLEDGE: "the referral was acknowledged",
    Move.ASK_QUESTION: "a question waits for your answer",
    Move.ANSWER_QUESTION: "your question was answered",
    Move.SUBMIT_PLAN: "a plan waits for your review",
    Move.AGREE_PLAN: "the plan was agreed and waits for your signature",
    Move.AMEND_PLAN: "the plan was changed and waits for you",
    Move.ACCEPT_AMENDMENT: "the changes were accepted; the plan waits for your review",
    Move.SEND_BACK: "the plan was sent back to you",
    Move.SIGN_PLAN: "the agreed plan waits for consent",
    Move.GIVE_CONSENT: "consent was given",
    Move.DECLINE_CONSENT: "consent was declined",
    Move.RECORD_RESET: "a reset was recorded and waits for your countersign",
    Move.COUNTERSIGN: "the reset was countersigned",
    Move.ASK_CORRECTION: "a correction of the record is asked for",
    Move.SET_RECHECK: "the recheck was set",
    Move.RAISE_FLAG: "a red flag was raised: look now",
    Move.ANSWER_FLAG: "a red flag was answered",
    Move.JUDGE_AGAIN: "the plan was judged again",
    Move.ACKNOWLEDGE_CAUTION: "cautions of the plan were acknowledged",
    Move.INVITE: "somebody was asked onto the case",
    Move.TAKE_INVITE_BACK: "what somebody was asked was taken back",
    Move.JOIN: "somebody came onto the case",
    Move.HAND_OVER: "a part in the case was handed over to you",
    Move.CORRECT_OWNER: "it was corrected who owns the horse",
    Move.ERASE: "something of the record was erased",
    Move.PLACE_HOLD: "the case was put under legal hold",
    Move.LIFT_HOLD: "the legal hold was lifted",
    Move.CLOSE: "the case was closed",
    Move.REOPEN: "the case was reopened",
}
ADDED = "something was added to the record"


LOOK = "look at the plan before it is fitted"
OF_ITSELF: Mapping[str, str] = {
    RECHECK_LATE: "a recheck is late",
    RULE_CHANGED: f"a rule has changed since consent: {LOOK}",
    NOT_COMING: "somebody whom you asked declined or did not answer",
    FLAG_LAPSED: "a red flag is live again, as the day it was managed until has passed: look now",
}

OFFICE_SAYS: Mapping[str, str] = {
    Move.ASK_EXAMINATION: "an examination is asked for",
    Move.ASK_QUESTION: "a question of the farrier’s waits for the vet",
    Move.SEND_REFERRAL: "a referral waits to be acknowledged",
    Move.RAISE_FLAG: "a red flag was raised and waits for the vet’s answer",
    FLAG_LAPSED: "a red flag is live again and waits for the vet’s answer",
    RECHECK_LATE: "a recheck is late",
}
"""What the office of somebody on a case is told, as the rest of a sentence; nothing of the foot."""


def mail_says(kind: str, facts: Mapping[str, Any] | None = None) -> str:
    """Return what a mail says of an entry, as the rest of a sentence that names its case.

    A rule is named by its code alone: its title is the practice's own words, and what it answers
    is of the record.
    """
    if kind == RULE_CHANGED and facts:
        return f"rule {facts['rule']} has changed since consent: {LOOK}"
    return OF_ITSELF.get(kind) or SAYS.get(Move(kind), ADDED)


VERDICTS: Mapping[str, str] = {
    "not asked": "not asked",
    "WITHIN": "within",
    "OUTSIDE": "outside",
    "TOO_CLOSE": "too close to call",
    "CANNOT_TELL": "cannot be told",
    "NOT_APPLICABLE": "does not apply",
}
SERIOUS = frozenset({"OUTSIDE", "TOO_CLOSE", "CANNOT_TELL"})
"""Answers that are said with how serious they are."""


def rule_says(facts: Mapping[str, Any]) -> str:
    """Return which rule answers a plan otherwise, and how, in one sentence."""
    answers = "; ".join(
        f"{limb} {_answer(*before)} when it was judged, {_answer(*after)} now"
        for limb, before, after in facts["answers"]
    )
    return f"{facts['rule']}, {facts['title']}, on plan {facts['plan_n']}: {answers}."


def _answer(verdict: str, severity: str) -> str:
    said = VERDICTS[verdict]
    return f"{said} ({severity.replace('_', ' ')})" if verdict in SERIOUS else said


def office_says(kind: str) -> str:
    """Return what the office of somebody on a case is told, in the inbox as in a mail."""
    return OFFICE_SAYS[kind]
