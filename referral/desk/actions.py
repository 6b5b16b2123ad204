"""What whoever looks at a case can do next: the one main thing first, the rest after it."""

from dataclasses import dataclass

from referral.core.workflow import Move, Role, Stage
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
    main = _main(page)
    access, state = page.access, page.access.state
    more = [
        Action(label, path.format(plan=state.plan_n, reset=state.reset_n))
        for move, label, path in _MORE
        if access.may(move)
    ]
    return (*main, *(each for each in more if each.path not in {one.path for one in main}))


def _main(page: CasePage) -> list[Action]:
    access, state = page.access, page.access.state
    live = [flag for flag in page.flags if flag.is_live]
    if live:
        answer = Action("Answer the red flag", f"red-flags/{live[0].flag_id}/answers/new", True)
        return [answer] if access.may(Move.ANSWER_FLAG) else []
    if state.vet_to_see and Role.VET in access.roles and access.may(Move.ADD_OBSERVATION):
        return [Action("Say what follows from the emergency work", "observations/new", True)]
    if state.stage is Stage.OPENED and access.may(Move.SEND_REFERRAL):
        return [_before_referral(page)]
    numbers = {"plan": state.plan_n, "reset": state.reset_n}
    return [
        Action(label.format(**numbers), path.format(**numbers), True, is_post)
        for stage, move, label, path, is_post in _MAIN
        if state.stage is stage and access.may(move)
    ]


def _before_referral(page: CasePage) -> Action:
    """Return the next thing a referral still lacks, or sending it."""
    if not page.problems:
        return Action("Record the problem", "problems/new", is_main=True)
    if not page.readings:
        unmeasured = [film for film in page.films if not (film.is_measured or film.erased)]
        if unmeasured:
            return Action("Measure the film", f"films/{unmeasured[0].film_id}", is_main=True)
        return Action("Add a film", "films/new", is_main=True)
    if not page.limits:
        return Action("Set a limit", "limits/new", is_main=True)
    return Action("Send the referral", "referrals/new", is_main=True)


_MAIN: tuple[tuple[Stage, Move, str, str, bool], ...] = (
    (Stage.ASKED, Move.TAKE_UP, "Take the request up", "take-ups/new", False),
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
    (Move.TURN_DOWN, "Answer the request without taking it up", "answers-with-reason/new"),
    (Move.ADD_PHOTO, "Add a film or photo", "films/new"),
    (Move.RECORD_READINGS, "Assess a foot", "assessments/new"),
    (Move.RECORD_READINGS, "Type readings", "readings/new"),
    (Move.SET_PROBLEM, "Record the problem", "problems/new"),
    (Move.SET_LIMIT, "Set a limit", "limits/new"),
    (Move.SEND_REFERRAL, "Send a referral", "referrals/new"),
    (Move.ASK_QUESTION, "Ask the vet a question", "questions/new"),
    (Move.ADD_OBSERVATION, "Record an observation", "observations/new"),
    (Move.BOOK_VISIT, "Book a visit", "visits/new"),
    (Move.SET_RECHECK, "Set the recheck", "rechecks/new"),
    (Move.CHECK_SUPPORT_LIMB, "Look at the support limb", "notes/support-limb-checks/new"),
    (Move.CHECK_AFTER_FITTING, "Check after fitting", "notes/after-checks/new"),
    (Move.ADD_CALL_NOTE, "Note a call", "notes/calls/new"),
    (Move.NOTE_MEDICATION, "Note medication", "notes/medication/new"),
    (Move.GRADE_LAMENESS, "Grade the lameness", "notes/lameness/new"),
    (Move.RECORD_EMERGENCY, "Record emergency work", "notes/emergencies/new"),
    (Move.STEP_DOWN, "Step a device down", "notes/step-downs/new"),
    (Move.RENEW_DEVICE, "Keep a device on, with a reason", "notes/renewals/new"),
    (Move.INVITE, "Ask somebody onto the case", "members/new"),
    (Move.HAND_OVER, "Hand a part over", "hand-overs/new"),
    (Move.RAISE_FLAG, "Raise a red flag", "red-flags/new"),
    (Move.CLOSE, "Close the case", "closures/new"),
    (Move.ERASE, "Erase something, or place a legal hold", "erasures"),
    (Move.REOPEN, "Open the case again", "reopenings/new"),
)
