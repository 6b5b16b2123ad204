"""Plain words for the entries of the timeline."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from referral.cases.choices import (
    CONDITIONS,
    FLAG_ANSWERS,
    LETTERS,
    OUTCOMES,
    SIGNS,
    SUBJECTS,
    TETANUS,
)
from referral.cases.note_kinds import LABELS as NOTE_LABELS
from referral.core.measure.registry import MEASURES
from referral.core.workflow import Move
from referral.web.written import day

UNIT_SIGNS = {"deg": "°", "mm": " mm", "percent": " %", "ratio": "", "weeks": " weeks"}
STAGES = {
    "now": "now",
    "after_fit": "after fitting",
    "at_due": "at the due date",
    "as_fitted": "as fitted",
    "change": "change at this visit",
}

ENTRIES: Mapping[Move, str] = {
    Move.OPEN_CASE: "opened the case",
    Move.ASK_EXAMINATION: "asked for an examination of {limb}: {about}",
    Move.TAKE_UP: "took the request up",
    Move.TURN_DOWN: "answered the request and closed it",
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
    Move.SET_RECHECK: "set the recheck: {recheck_on}, {recheck_owner}",
    Move.BOOK_VISIT: "booked the {comes}'s visit: {visit_on} {visit_at}",
    Move.SET_LIMIT: "set a limit: {limit}",
    Move.SET_PROBLEM: "recorded the problem on {limb}: {condition}",
    Move.ADD_FILM: "added a film of {limb}",
    Move.MEASURE_FILM: "measured a film of {limb}",
    Move.ADD_PHOTO: "added a photo of {limb}",
    Move.MEASURE_PHOTO: "measured a photo of {limb}",
    Move.RECORD_READINGS: "typed readings of {limb}",
    Move.ADD_OBSERVATION: "observed: {about}",
    Move.ADD_CALL_NOTE: "noted a call with {with_whom}",
    Move.CONFIRM_CALL_NOTE: "confirmed a call note",
    Move.NOTE_MEDICATION: "noted medication: {medication}",
    Move.GRADE_LAMENESS: "graded the lameness of {limb}: {grade} on the scale {scale}, {gait}",
    Move.CHECK_AFTER_FITTING: "checked after fitting: {comfort}; shoe: {shoe}",
    Move.CHECK_SUPPORT_LIMB: "looked at {limb} as the support limb: {found}",
    Move.RECORD_EMERGENCY: "recorded emergency work on {limb}",
    Move.STEP_DOWN: "stepped the {device} down on {limb}",
    Move.RENEW_DEVICE: "keeps the {device} on {limb}, with a reason",
    Move.ACKNOWLEDGE_CAUTION: "acknowledged cautions of plan {plan_n}: {titles}",
    Move.RAISE_FLAG: "raised a red flag: {sign}",
    Move.ANSWER_FLAG: "answered a red flag: {answer}",
    Move.JUDGE_AGAIN: "had plan {plan_n} judged again",
    Move.INVITE: "asked {whom} onto the case",
    Move.TAKE_INVITE_BACK: "took back what {whom} was asked",
    Move.JOIN: "came onto the case",
    Move.HAND_OVER: "handed the {role}'s part over",
    Move.CORRECT_OWNER: "corrected who owns the horse; who was on as its owner is not",
    Move.SIGN_SHEET: "signed the {letter}",
    Move.ERASE: "erased {erased}",
    Move.PLACE_HOLD: "placed a legal hold: nothing is erased until it is lifted",
    Move.LIFT_HOLD: "lifted the legal hold",
    Move.CLOSE: "closed the case: {outcome}",
    Move.REOPEN: "reopened the case",
}


class _Blank(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "—"


OTHERWISE: Mapping[tuple[Move, str], str] = {
    (Move.GIVE_CONSENT, "how"): "recorded consent to plan {plan_n}, {how}",
    (Move.DECLINE_CONSENT, "how"): "recorded that consent to plan {plan_n} was declined, {how}",
    (Move.RECORD_RESET, "corrects"): "put the record of reset {n} right and signed; due {due_on}",
    (Move.SET_LIMIT, "withdrawn"): "took back the limit: {limit}",
    (Move.INVITE, "person"): "brought {whom} onto the case",
    (Move.ANSWER_FLAG, "until"): "answered a red flag: {answer} until {until}",
    (Move.BOOK_VISIT, "called_off"): "called off the {comes}'s visit",
}
"""What is said instead where an entry holds this fact."""


def entry_says(kind: str, content: Mapping[str, Any]) -> str:
    """Return what somebody did, as the part of a sentence that follows their name."""
    move = Move(kind)
    instead = (says for (of, fact), says in OTHERWISE.items() if of is move and content.get(fact))
    named = _named(content)
    said = next(instead, ENTRIES[move]).format_map(_Blank(content, **named))
    if content.get("tetanus"):
        said = f"{said}; tetanus: {named['tetanus']}"
    if move is Move.ADD_PHOTO and len(content.get("photos", ())) > 1:
        said = said.replace("a photo", f"{len(content['photos'])} photos", 1)
    return said


WHOM = {"owner": "the owner", "apprentice": "an apprentice"}
"""Who is asked onto a case, where it is not \"a\" and the role."""

CODED = ("with_whom", "medication", "comfort", "shoe", "device", "scale", "gait", "found")
"""What of a note stands in its entry as a code."""


DAYS = ("due_on", "recheck_on", "visit_on", "until")
"""What stands in an entry as a day."""


def _day(said: object) -> str:
    return day(date.fromisoformat(str(said)))


def _named(content: Mapping[str, Any]) -> dict[str, str]:
    """Return the names of what the content holds as codes."""
    codes = (
        ("sign", SIGNS),
        ("answer", FLAG_ANSWERS),
        ("condition", CONDITIONS),
        ("about", SUBJECTS),
        ("outcome", OUTCOMES),
        ("letter", LETTERS),
    )
    named = {
        key: dict(options).get(str(content[key]), str(content[key]))
        for key, options in codes
        if key in content
    }
    named.update(
        (key, NOTE_LABELS[str(content[key])])
        for key in CODED
        if str(content.get(key)) in NOTE_LABELS
    )
    named.update((key, _day(content[key])) for key in DAYS if content.get(key))
    if content.get("tetanus"):
        named["tetanus"] = dict(TETANUS)[content["tetanus"]]
    if "role" in content:
        named["whom"] = WHOM.get(content["role"], f"a {content['role']}")
    if "grade" in content:
        named["grade"] = f"{content['grade']:g}"
    if content.get("measure"):
        named["limit"] = limit_says(content)
    return {key: value[:1].lower() + value[1:] for key, value in named.items()}


def limit_says(content: Mapping[str, Any]) -> str:
    """Return a limit in words: Palmar angle at least 3° after fitting, LF."""
    code = content["measure"]
    name = MEASURES[code].name if code in MEASURES else code.replace("_", " ")
    bounds = bound_says(content.get("at_least"), content.get("at_most"), content["unit"])
    limb = f", {content['limb']}" if content.get("limb") else ""
    parts = (name, bounds, STAGES[content["stage"]])
    return " ".join(part for part in parts if part) + limb


def bound_says(at_least: float | None, at_most: float | None, unit: str) -> str:
    """Return a limit's bounds in words and numbers."""
    sign = UNIT_SIGNS.get(unit, f" {unit}")
    parts = []
    if at_least is not None:
        parts.append(f"at least {at_least:g}{sign}")
    if at_most is not None:
        parts.append(f"at most {at_most:g}{sign}")
    return " and ".join(parts)
