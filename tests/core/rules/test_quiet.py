"""A caution that both acknowledged stays folded as long as nothing about it changes."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.rules.finding import SEVERITIES, VERDICTS, blank_finding
from referral.core.rules.quiet import Acknowledged, holding, may_go_quiet, quieted, still_holds
from referral.core.rules.summary import summary_of

SEEN = replace(
    blank_finding("R04", "Sole depth", "after_fit", "shipped"),
    measure="sole_depth_tip_mm",
    verdict="OUTSIDE",
    severity="caution",
    value=12.0,
    u=0.5,
    limit=15.0,
    unit="mm",
    margin=-3.0,
    limit_since="2026-01-01",
    says="Sole depth 12.0 mm is below 15 mm.",
)
BY_VET = Acknowledged("LF", SEEN, "vet", "As thick as it gets this winter")
BY_FARRIER = replace(BY_VET, role="farrier", reason="Nothing is taken off it")
BOTH = (BY_VET, BY_FARRIER)


def test_it_takes_both_and_their_reasons_stay_with_it():
    assert quieted("LF", SEEN, BOTH) == (BY_FARRIER, BY_VET)
    assert quieted("LF", SEEN, [BY_VET]) == ()
    assert quieted("LF", SEEN, [BY_VET, BY_VET]) == ()
    assert quieted("LF", SEEN, [BY_VET, replace(BY_FARRIER, role="owner")]) == ()


def test_the_latest_of_each_side_holds_whether_or_not_the_other_has_spoken():
    later = replace(BY_VET, reason="It is as thick as it was")
    assert holding("LF", SEEN, [BY_VET, later]) == (later,)
    assert holding("LF", SEEN, [BY_VET, BY_FARRIER, later]) == (BY_FARRIER, later)
    assert holding("LF", replace(SEEN, limit=14.0), [BY_VET]) == ()


# U = 2u, k = 2 (JCGM 100:2008, 6.2.1); 2 x 0.5 mm about 12 mm are 11 to 13 mm.
@pytest.mark.parametrize(
    ("value", "stays"), [(12.0, True), (11.0, True), (13.0, True), (10.9, False), (13.1, False)]
)
def test_a_value_within_its_uncertainty_is_the_same(value, stays):
    now = replace(SEEN, value=value, margin=value - 15.0)
    assert bool(quieted("LF", now, BOTH)) is stays


def test_a_value_that_creeps_is_held_against_the_one_acknowledged():
    last = SEEN
    for step in range(1, 6):
        last = replace(last, value=12.0 - 0.3 * step, margin=-3.0 - 0.3 * step)
        assert bool(quieted("LF", last, BOTH)) is (step <= 3)


CHANGED = {
    "rule": "R99",
    "stage": "at_due",
    "measure": "sole_depth_process_mm",
    "severity": "note",
    "limit": 14.0,
    "unit": "deg",
    "limit_since": "2026-06-01",
    "folded_under": "R45",
    "margin": 3.0,
    "value": None,
}


@pytest.mark.parametrize("name", CHANGED)
def test_whatever_else_changes_it_comes_back(name):
    assert quieted("LF", replace(SEEN, **{name: CHANGED[name]}), BOTH) == ()
    assert quieted("RF", SEEN, BOTH) == ()


def test_what_was_too_close_comes_back_when_it_is_outside():
    close = replace(SEEN, verdict="TOO_CLOSE")
    both = [replace(each, finding=close) for each in BOTH]
    assert quieted("LF", close, both)
    assert quieted("LF", SEEN, both) == ()
    assert quieted("LF", close, BOTH)


def test_a_limit_of_the_vets_is_known_by_what_it_asks():
    mine = replace(SEEN, rule="case:0", limit_from="case", limit_since=None)
    both = [replace(each, finding=mine) for each in BOTH]
    assert quieted("LF", replace(mine, rule="case:3"), both)
    assert quieted("LF", replace(mine, rule="case:0", limit=16.0, margin=-4.0), both) == ()


def test_without_a_number_it_is_the_same_if_it_says_the_same():
    surface = replace(SEEN, value=None, u=None, limit=None, margin=None, says="Soft ground.")
    both = [replace(each, finding=surface) for each in BOTH]
    assert quieted("LF", surface, both)
    assert quieted("LF", replace(surface, says="Firm ground."), both) == ()


@given(
    severity=st.sampled_from(SEVERITIES),
    verdict=st.sampled_from(VERDICTS),
    value=st.none() | st.floats(0, 30),
)
def test_a_breach_a_red_flag_and_what_cannot_be_told_never_go_quiet(severity, verdict, value):
    finding = replace(SEEN, severity=severity, verdict=verdict, value=value)
    both = [replace(each, finding=finding) for each in BOTH]
    quiet = severity in ("note", "caution") and verdict in ("OUTSIDE", "TOO_CLOSE")
    assert may_go_quiet(finding) is quiet
    assert bool(quieted("LF", finding, both)) is quiet
    assert still_holds(both[0], "LF", finding) is quiet


NOTE = replace(SEEN, rule="R05", severity="note")
CLOSE = replace(SEEN, rule="R06", verdict="TOO_CLOSE")
BREACH = replace(SEEN, rule="R07", severity="breach")
UNTOLD = replace(SEEN, rule="R08", verdict="CANNOT_TELL", value=None, reason="missing_reading")
FINE = replace(SEEN, rule="R09", verdict="WITHIN")


@pytest.mark.parametrize(
    ("quiet", "said"),
    [
        ((), "2 limits broken, 1 note, 1 too close to call, "),
        ((SEEN,), "1 limit broken, 1 note, 1 too close to call, 1 acknowledged, "),
        ((SEEN, NOTE, CLOSE), "1 limit broken, 3 acknowledged, "),
    ],
)
def test_the_summary_counts_what_is_acknowledged_apart(quiet, said):
    found = (SEEN, NOTE, CLOSE, BREACH, UNTOLD, FINE)
    assert summary_of(found, quiet) == f"{said}1 cannot be checked: the reading is missing"


def test_the_summary_where_nothing_but_the_acknowledged_is_amiss():
    assert summary_of((SEEN, FINE), (SEEN,)) == (
        "1 checked, all within their limits, 1 acknowledged"
    )
    assert summary_of((SEEN,), (SEEN,)) == "1 acknowledged"
    assert summary_of((UNTOLD, SEEN), (SEEN,)) == (
        "1 acknowledged, 1 cannot be checked: the reading is missing"
    )


def test_what_folds_under_what_is_acknowledged_is_not_counted_again():
    under = replace(NOTE, folded_under=SEEN.rule)
    assert summary_of((SEEN, under, FINE), (SEEN,)) == (
        "1 checked, all within their limits, 1 acknowledged"
    )
