"""Every state x every move x every role, against a table written out by hand.

The table is what the two sides agreed a case looks like (common practice, no
source); it is written apart from the code's own so that either can be wrong.
"""

from datetime import date, timedelta
from itertools import product

import pytest

from referral.core.errors import WrongMove
from referral.core.standing import standing
from referral.core.workflow import (
    LAWS,
    CaseState,
    Happening,
    Move,
    Role,
    Stage,
    after,
    check_move,
    legal_moves,
    on_day,
    state_of,
    why_not,
)

TURN_MOVES = {
    # stage: {(role, move): stage it leads to}
    "new": {
        ("vet", "case_opened"): "opened",
        ("farrier", "examination_asked"): "asked",
        ("owner", "examination_asked"): "asked",
    },
    "opened": {("vet", "referral_sent"): "referred"},
    "asked": {
        ("vet", "examination_taken_up"): "opened",
        ("vet", "examination_turned_down"): "closed",
        ("vet", "referral_sent"): "referred",
    },
    "referred": {
        ("farrier", "referral_acknowledged"): "planning",
        ("farrier", "question_asked"): "question",
    },
    "question": {
        ("vet", "question_answered"): "planning",
        ("vet", "referral_sent"): "referred",
    },
    "planning": {
        ("farrier", "plan_submitted"): "review",
        ("farrier", "question_asked"): "question",
        ("vet", "referral_sent"): "referred",
    },
    "review": {
        ("vet", "plan_agreed"): "signing",
        ("vet", "plan_amended"): "amended",
        ("vet", "plan_sent_back"): "planning",
        ("farrier", "plan_submitted"): "review",
    },
    "amended": {
        ("farrier", "amendment_accepted"): "review",
        ("farrier", "plan_submitted"): "review",
        ("farrier", "question_asked"): "question",
    },
    "signing": {("farrier", "plan_signed"): "consent"},
    "consent": {
        ("owner", "consent_given"): "fitting",
        ("vet", "consent_given"): "fitting",
        ("farrier", "consent_given"): "fitting",
        ("owner", "consent_declined"): "planning",
        ("vet", "consent_declined"): "planning",
        ("farrier", "consent_declined"): "planning",
    },
    "fitting": {
        ("farrier", "reset_recorded"): "countersign",
        ("owner", "consent_declined"): "planning",
        ("vet", "consent_declined"): "planning",
        ("farrier", "consent_declined"): "planning",
    },
    "countersign": {
        ("vet", "reset_countersigned"): "monitoring",
        ("vet", "correction_asked"): "correcting",
    },
    "correcting": {("farrier", "reset_recorded"): "countersign"},
    "monitoring": {
        ("farrier", "plan_submitted"): "review",
        ("vet", "referral_sent"): "referred",
    },
    "closed": {("vet", "case_reopened"): "monitoring"},
}
CLOSING = {("vet", "case_closed"): "closed"}
PAUSED_BY_FLAG = {
    "plan_submitted",
    "plan_agreed",
    "plan_amended",
    "amendment_accepted",
    "plan_signed",
}
ANY_TIME = {
    # role: what it may add to a live case whoever's turn it is
    "vet": {
        "recheck_set", "visit_booked", "limit_set", "problem_set", "film_added", "film_measured",
        "photo_added",
        "photo_measured",
        "readings_recorded", "observation_added", "call_note_added", "call_note_confirmed",
        "medication_noted", "lameness_graded", "after_check_recorded",
        "support_limb_checked", "emergency_work_recorded",
        "device_stepped_down", "device_renewed", "caution_acknowledged", "red_flag_raised",
        "red_flag_answered",
        "member_added", "invitation_taken_back", "member_joined", "handed_over", "owner_corrected",
        "sheet_signed", "record_erased", "legal_hold_placed", "legal_hold_lifted",
    },
    "farrier": {
        "recheck_set", "visit_booked", "photo_added", "photo_measured", "readings_recorded",
        "observation_added",
        "call_note_added", "call_note_confirmed", "after_check_recorded",
        "support_limb_checked", "emergency_work_recorded",
        "device_stepped_down", "device_renewed", "caution_acknowledged", "red_flag_raised",
        "member_added",
        "invitation_taken_back", "member_joined", "handed_over",
    },
    "apprentice": {"photo_added", "observation_added", "red_flag_raised", "member_joined"},
    "owner": {
        "photo_added", "observation_added", "call_note_confirmed", "after_check_recorded",
        "support_limb_checked", "red_flag_raised", "member_joined",
    },
    "coordinator": {
        "red_flag_raised", "member_added", "invitation_taken_back", "member_joined", "handed_over",
        "visit_booked", "record_erased", "legal_hold_placed", "legal_hold_lifted",
    },
}  # fmt: skip
EVEN_CLOSED = {
    "emergency_work_recorded", "red_flag_raised", "red_flag_answered", "member_added",
    "invitation_taken_back", "member_joined", "handed_over", "owner_corrected", "sheet_signed",
    "record_erased", "legal_hold_placed", "legal_hold_lifted",
}  # fmt: skip
JUDGE_AGAIN = {"review": "review", "amended": "amended", "signing": "review", "consent": "review"}
FACTS = {"plan_submitted": {"n": 1}, "plan_amended": {"n": 2}, "reset_recorded": {"n": 1}}


def expected(stage: str, role: str, move: str) -> str | None:
    """Return the stage a legal move leads to, the same stage, or None if it is not legal."""
    if (role, move) in TURN_MOVES[stage]:
        return TURN_MOVES[stage][(role, move)]
    if stage not in ("new", "closed") and (role, move) in CLOSING:
        return CLOSING[(role, move)]
    if move == "plan_judged_again":
        return JUDGE_AGAIN.get(stage) if role in ("vet", "farrier") else None
    if move not in ANY_TIME[role] or stage == "new":
        return None
    return stage if stage != "closed" or move in EVEN_CLOSED else None


def facts_for(move: str) -> dict[str, object]:
    return {"flag": "f1", **FACTS.get(move, {})}


@pytest.mark.parametrize("stage", list(Stage))
def test_every_move_by_every_role_is_as_the_table_says(stage):
    for role, move in product(Role, Move):
        wanted = expected(stage.value, role.value, move.value)
        state = CaseState(stage=stage, reset_n=1)
        if wanted is None:
            with pytest.raises(WrongMove):
                check_move(state, role, move)
            continue
        check_move(state, role, move)
        assert move in legal_moves(state, role)
        moved = after(state, Happening(move.value, role.value, facts_for(move.value)))
        assert moved.stage.value == wanted, (stage, role, move)


@pytest.mark.parametrize("move", list(Move))
def test_a_live_red_flag_stops_plans_and_never_the_recording_of_facts(move):
    for stage, role in product(Stage, Role):
        if expected(stage.value, role.value, move.value) is None:
            continue
        flagged = CaseState(stage=stage, live_flags=frozenset({"f1"}))
        stopped = why_not(flagged, role, move)
        assert bool(stopped) == (move.value in PAUSED_BY_FLAG)


def test_every_move_has_a_law_and_every_law_a_role_and_a_stage():
    assert set(LAWS) == set(Move)
    assert all(law.roles and law.stages for law in LAWS.values())


@pytest.mark.parametrize("stage", list(Stage))
def test_consent_of_somebody_who_is_not_the_owner_falls_and_nothing_else_does(stage):
    """Our own rule: fitting waits for the owner's consent; what is fitted already stays so."""
    correction = Happening("owner_corrected", "vet", {"consent_falls": True})
    moved = after(CaseState(stage=stage), correction)
    assert moved.stage is (Stage.CONSENT if stage is Stage.FITTING else stage)
    kept = after(CaseState(stage=stage), Happening("owner_corrected", "vet", {}))
    assert kept.stage is stage


def test_consent_that_falls_while_the_plan_is_judged_again_is_asked_for_after_it():
    judged = CaseState(stage=Stage.REVIEW, left_at=Stage.FITTING)
    correction = Happening("owner_corrected", "vet", {"consent_falls": True})
    assert after(judged, correction).left_at is Stage.CONSENT
    other = CaseState(stage=Stage.REVIEW, left_at=Stage.SIGNING)
    assert after(other, correction).left_at is Stage.SIGNING


def story(*steps: tuple[str, str, dict[str, object]]) -> CaseState:
    return state_of([Happening(kind, role, facts) for kind, role, facts in steps])


FITTED_ONCE = (
    ("case_opened", "vet", {}),
    ("limit_set", "vet", {"changes_basis": True}),
    ("referral_sent", "vet", {"n": 1}),
    ("referral_acknowledged", "farrier", {}),
    ("plan_submitted", "farrier", {"n": 1}),
    ("plan_agreed", "vet", {"plan_n": 1}),
    ("plan_signed", "farrier", {"plan_n": 1}),
    ("consent_given", "owner", {"plan_n": 1}),
    ("reset_recorded", "farrier", {"n": 1, "due_on": "2026-12-30"}),
    (
        "reset_countersigned",
        "vet",
        {"recheck_on": "2026-12-28", "recheck_owner": "vet"},
    ),
)


def test_a_whole_reset_ends_in_waiting_for_the_next_date():
    state = story(*FITTED_ONCE)
    assert state.stage is Stage.MONITORING
    assert (state.plan_n, state.reset_n, state.referral_n) == (1, 1, 1)
    assert state.due_on == date(2026, 12, 30)
    assert (state.recheck_on, state.recheck_owner) == (date(2026, 12, 28), "vet")


def test_whose_turn_it_is_moves_with_the_work():
    turns = [story(*FITTED_ONCE[:count]).turn for count in range(1, len(FITTED_ONCE) + 1)]
    assert [turn.value for turn in turns] == [
        "vet", "vet", "farrier", "farrier", "vet", "farrier", "owner", "farrier", "vet", "farrier",
    ]  # fmt: skip


@pytest.mark.parametrize("count", [6, 7, 8])
def test_a_changed_limit_between_agreement_and_fitting_asks_the_vet_again(count):
    state = story(*FITTED_ONCE[:count], ("limit_set", "vet", {"changes_basis": True}))
    assert state.stage is Stage.REVIEW


def test_a_changed_limit_after_fitting_leaves_the_record_alone():
    state = story(*FITTED_ONCE, ("limit_set", "vet", {"changes_basis": True}))
    assert state.stage is Stage.MONITORING


def test_a_red_flag_puts_the_turn_on_the_vet_until_answered():
    flagged = story(*FITTED_ONCE, ("red_flag_raised", "owner", {"flag": "a"}))
    assert (flagged.turn, flagged.task) == (Role.VET, "Answer the red flag")
    answered = after(flagged, Happening("red_flag_answered", "vet", {"flag": "a"}))
    assert answered.turn is Role.FARRIER


MANAGED = (
    *FITTED_ONCE,
    ("red_flag_raised", "owner", {"flag": "a"}),
    ("red_flag_answered", "vet", {"flag": "a", "answer": "managed", "until": "2026-12-01"}),
)


@pytest.mark.parametrize(
    ("day", "live"), [(25, False), (30, False), (31, False), (32, True), (60, True)]
)
def test_a_managed_red_flag_holds_through_its_day_and_is_live_after_it(day, live):
    state = on_day(story(*MANAGED), date(2026, 11, 1) + timedelta(days=day - 1))
    assert bool(state.live_flags) == live
    assert bool(why_not(state, Role.FARRIER, Move.SUBMIT_PLAN)) == live
    assert why_not(state, Role.FARRIER, Move.ADD_PHOTO) == ""
    assert state.turn is (Role.VET if live else Role.FARRIER)


@pytest.mark.parametrize("kind", ["record_erased", "legal_hold_placed", "legal_hold_lifted"])
def test_what_is_said_of_the_record_alone_changes_nothing_of_the_case(kind):
    before = story(*FITTED_ONCE, ("emergency_work_recorded", "farrier", {}))
    assert before.task == "See the emergency work"
    assert after(before, Happening(kind, "vet", {})) == before


def test_the_last_answer_to_a_red_flag_holds():
    later = ("red_flag_answered", "vet", {"flag": "a", "answer": "managed", "until": "2026-12-20"})
    gone = ("red_flag_answered", "vet", {"flag": "a", "answer": "resolved", "until": None})
    other = ("red_flag_raised", "owner", {"flag": "b"})
    assert not on_day(story(*MANAGED, later), date(2026, 12, 20)).live_flags
    assert on_day(story(*MANAGED, later), date(2026, 12, 21)).live_flags == {"a"}
    assert not on_day(story(*MANAGED, gone), date(2027, 12, 21)).live_flags
    assert on_day(story(*MANAGED, other), date(2026, 12, 1)).live_flags == {"b"}
    assert on_day(story(*MANAGED, other), date(2026, 12, 2)).live_flags == {"a", "b"}


def test_emergency_work_is_for_the_vet_to_see():
    state = story(*FITTED_ONCE, ("emergency_work_recorded", "farrier", {}))
    assert (state.turn, state.task) == (Role.VET, "See the emergency work")
    assert after(state, Happening("observation_added", "vet", {})).turn is Role.FARRIER


def test_a_case_reopened_before_any_reset_starts_at_the_referral():
    state = story(
        ("case_opened", "vet", {}), ("case_closed", "vet", {}), ("case_reopened", "vet", {})
    )
    assert state.stage is Stage.OPENED


def test_an_unknown_kind_of_entry_is_refused():
    with pytest.raises(ValueError, match="shoe_thrown"):
        state_of([Happening("shoe_thrown", "vet")])


@pytest.mark.parametrize(
    ("today", "wanted"),
    [
        (date(2026, 12, 22), "quiet"),
        (date(2026, 12, 23), "due"),
        (date(2026, 12, 30), "due"),
        (date(2026, 12, 31), "overdue"),
    ],
)
def test_a_due_date_is_a_plain_date(today, wanted):
    assert standing(story(*FITTED_ONCE), Role.FARRIER, today) == wanted


def test_standing_names_whose_turn_it_is():
    review = CaseState(stage=Stage.REVIEW)
    day = date(2026, 11, 25)
    assert standing(review, Role.VET, day) == "waiting on you"
    assert standing(review, Role.FARRIER, day) == "waiting on them"
    assert standing(CaseState(stage=Stage.CLOSED), Role.VET, day) == "closed"
    assert standing(CaseState(stage=Stage.MONITORING), Role.VET, day) == "quiet"


def moved(part, before, after, role="vet"):
    change = {"part": part, "before": before, "after": after}
    return Happening("limit_set", role, {"changes_basis": True, "ground": change})


AGREED = (
    Happening("case_opened", "vet"),
    Happening("referral_sent", "vet"),
    Happening("referral_acknowledged", "farrier"),
    Happening("plan_submitted", "farrier", {"n": 1}),
    Happening("plan_agreed", "vet"),
    Happening("plan_signed", "farrier"),
)


def test_a_change_that_changes_nothing_leaves_a_plan_where_it_is():
    assert state_of([*AGREED, moved("limits", "a", "a")]).stage is Stage.CONSENT


def test_ground_that_is_back_brings_a_plan_back_to_where_it_stood():
    there = [*AGREED, moved("limits", "a", "b")]
    assert state_of(there).stage is Stage.REVIEW
    assert state_of([*there, moved("limits", "b", "c")]).stage is Stage.REVIEW
    assert state_of([*there, moved("limits", "b", "a")]).stage is Stage.CONSENT


def test_every_part_of_the_ground_has_to_be_back():
    there = [*AGREED, moved("limits", "a", "b"), moved("readings.LF", "x", "y")]
    one = [*there, moved("limits", "b", "a")]
    assert state_of(one).stage is Stage.REVIEW
    assert state_of([*one, moved("readings.LF", "y", "x")]).stage is Stage.CONSENT


def test_a_plan_judged_again_stands_on_the_new_ground():
    there = [*AGREED, moved("limits", "a", "b"), Happening("plan_judged_again", "vet")]
    assert state_of([*there, moved("limits", "b", "a")]).stage is Stage.REVIEW


def test_what_was_changed_before_changes_were_kept_does_not_come_back():
    old = Happening("limit_set", "vet", {"changes_basis": True})
    there = [*AGREED, old, moved("limits", "a", "b"), moved("limits", "b", "a")]
    assert state_of(there).stage is Stage.REVIEW


def test_a_closed_case_is_said_to_be_closed():
    closed = CaseState(stage=Stage.CLOSED)
    assert why_not(closed, Role.FARRIER, Move.SUBMIT_PLAN).startswith("The case is closed.")
    assert why_not(closed, Role.VET, Move.REOPEN) == ""
