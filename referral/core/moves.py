"""The words of a case: what people are on it, where it stands, what can be done to it."""

from enum import StrEnum


class Role(StrEnum):
    """What a person is on a case."""

    VET = "vet"
    FARRIER = "farrier"
    APPRENTICE = "apprentice"
    OWNER = "owner"
    COORDINATOR = "coordinator"


class Stage(StrEnum):
    """Where a case stands; each names what is waited for."""

    NEW = "new"  # nothing yet
    OPENED = "opened"  # vet: send the referral
    ASKED = "asked"  # vet: an examination was asked for
    REFERRED = "referred"  # farrier: acknowledge
    QUESTION = "question"  # vet: answer the farrier's question
    PLANNING = "planning"  # farrier: write a plan
    REVIEW = "review"  # vet: agree or send back
    AMENDED = "amended"  # farrier: accept the vet's changes or answer them
    SIGNING = "signing"  # farrier: sign the agreed plan
    CONSENT = "consent"  # owner: consent
    FITTING = "fitting"  # farrier: do it and record it
    COUNTERSIGN = "countersign"  # vet: countersign what was fitted
    CORRECTING = "correcting"  # farrier: put the record right
    MONITORING = "monitoring"  # wait for the next date
    CLOSED = "closed"  # done


class Move(StrEnum):
    """Everything that a person can do to a case; the value is the entry's kind."""

    OPEN_CASE = "case_opened"
    ASK_EXAMINATION = "examination_asked"
    TAKE_UP = "examination_taken_up"
    TURN_DOWN = "examination_turned_down"
    SEND_REFERRAL = "referral_sent"
    ACKNOWLEDGE = "referral_acknowledged"
    ASK_QUESTION = "question_asked"
    ANSWER_QUESTION = "question_answered"
    SUBMIT_PLAN = "plan_submitted"
    AGREE_PLAN = "plan_agreed"
    AMEND_PLAN = "plan_amended"
    ACCEPT_AMENDMENT = "amendment_accepted"
    SEND_BACK = "plan_sent_back"
    SIGN_PLAN = "plan_signed"
    GIVE_CONSENT = "consent_given"
    DECLINE_CONSENT = "consent_declined"
    RECORD_RESET = "reset_recorded"
    COUNTERSIGN = "reset_countersigned"
    ASK_CORRECTION = "correction_asked"
    SET_RECHECK = "recheck_set"
    BOOK_VISIT = "visit_booked"
    SET_LIMIT = "limit_set"
    SET_PROBLEM = "problem_set"
    ADD_FILM = "film_added"
    MEASURE_FILM = "film_measured"
    ADD_PHOTO = "photo_added"
    MEASURE_PHOTO = "photo_measured"
    RECORD_READINGS = "readings_recorded"
    ADD_OBSERVATION = "observation_added"
    ADD_CALL_NOTE = "call_note_added"
    CONFIRM_CALL_NOTE = "call_note_confirmed"
    NOTE_MEDICATION = "medication_noted"
    GRADE_LAMENESS = "lameness_graded"
    CHECK_AFTER_FITTING = "after_check_recorded"
    CHECK_SUPPORT_LIMB = "support_limb_checked"
    RECORD_EMERGENCY = "emergency_work_recorded"
    STEP_DOWN = "device_stepped_down"
    RENEW_DEVICE = "device_renewed"
    ACKNOWLEDGE_CAUTION = "caution_acknowledged"
    RAISE_FLAG = "red_flag_raised"
    ANSWER_FLAG = "red_flag_answered"
    JUDGE_AGAIN = "plan_judged_again"
    INVITE = "member_added"
    TAKE_INVITE_BACK = "invitation_taken_back"
    JOIN = "member_joined"
    HAND_OVER = "handed_over"
    CORRECT_OWNER = "owner_corrected"
    SIGN_SHEET = "sheet_signed"
    ERASE = "record_erased"
    PLACE_HOLD = "legal_hold_placed"
    LIFT_HOLD = "legal_hold_lifted"
    CLOSE = "case_closed"
    REOPEN = "case_reopened"


ABOUT_THE_RECORD = frozenset({Move.ERASE, Move.PLACE_HOLD, Move.LIFT_HOLD})
"""Moves that say something of the record alone: the foot and whoever looks at it are as before."""
