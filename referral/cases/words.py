"""Plain words for the entries of the timeline."""

from collections.abc import Mapping
from typing import Any

from referral.core.workflow import Move

ENTRIES: Mapping[Move, str] = {
    Move.OPEN_CASE: "opened the case",
    Move.ASK_EXAMINATION: "asked for an examination",
    Move.SEND_REFERRAL: "sent referral {n}",
    Move.ACKNOWLEDGE: "acknowledged the referral",
    Move.ASK_QUESTION: "asked a question",
    Move.ANSWER_QUESTION: "answered the question",
    Move.SUBMIT_PLAN: "submitted plan {n}",
    Move.AGREE_PLAN: "agreed to plan {plan_n} and signed",
    Move.AMEND_PLAN: "changed the plan: plan {n}",
    Move.ACCEPT_AMENDMENT: "accepted the vet's changes",
    Move.SEND_BACK: "sent plan {plan_n} back",
    Move.SIGN_PLAN: "signed the agreed plan {plan_n}",
    Move.GIVE_CONSENT: "recorded consent to plan {plan_n}",
    Move.DECLINE_CONSENT: "recorded that consent to plan {plan_n} was declined",
    Move.RECORD_RESET: "recorded reset {n} as fitted and signed; due {due_on}",
    Move.COUNTERSIGN: "countersigned reset {reset_n}; recheck {recheck_on}",
    Move.ASK_CORRECTION: "asked for a correction of reset {reset_n}",
    Move.SET_RECHECK: "set the recheck",
    Move.SET_LIMIT: "set a limit",
    Move.SET_PROBLEM: "recorded the problem on {limb}",
    Move.ADD_FILM: "added a film of {limb}",
    Move.MEASURE_FILM: "measured a film",
    Move.ADD_PHOTO: "added a photo",
    Move.RECORD_READINGS: "typed readings of {limb}",
    Move.ADD_OBSERVATION: "observed",
    Move.ADD_CALL_NOTE: "noted a call",
    Move.CONFIRM_CALL_NOTE: "confirmed a call note",
    Move.NOTE_MEDICATION: "noted medication",
    Move.CHECK_AFTER_FITTING: "checked after fitting",
    Move.RECORD_EMERGENCY: "recorded emergency work",
    Move.STEP_DOWN: "stepped the device down",
    Move.RENEW_DEVICE: "renewed the device, with a reason",
    Move.RAISE_FLAG: "raised a red flag",
    Move.ANSWER_FLAG: "answered a red flag: {answer}",
    Move.JUDGE_AGAIN: "had plan {plan_n} judged again",
    Move.INVITE: "brought somebody onto the case",
    Move.CLOSE: "closed the case: {outcome}",
    Move.REOPEN: "reopened the case",
}


class _Blank(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "—"


def entry_says(kind: str, content: Mapping[str, Any]) -> str:
    """Return what somebody did, as the part of a sentence that follows their name."""
    return ENTRIES[Move(kind)].format_map(_Blank(content))
