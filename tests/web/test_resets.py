"""Recording what was fitted, countersigning it, and asking for a correction, through the pages."""

from datetime import timedelta

import pytest
from sqlalchemy import func, select

from referral.cases.remarks import RaiseFlag, raise_flag
from referral.resets.models import Countersign, Deviation, Recheck, Reset, ResetLimb
from referral.resets.queries import reset_of
from referral.sheets.models import SheetProposal
from tests.factories import PASSWORD
from tests.web.signing import at, browser_of, hidden_in, story_in
from tests.web.yard import words_of

RESETS = "/cases/1/resets"
NEW = "/cases/1/resets/new"
SHOW = "/cases/1/resets/1"
COUNTERSIGN = "/cases/1/resets/1/signature"
CORRECTIONS = "/cases/1/resets/1/corrections"
AS_PLANNED = {
    "LF-toe_trim_mm": "4",
    "LF-category": "straight_bar",
    "LF-material": "steel",
    "LF-thickness_mm": "10",
    "LF-width_mm": "134",
    "LF-length_mm": "146",
    "LF-breakover_setback_mm": "20",
    "LF-heel_extension_mm": "8",
    "LF-wedge_deg": "3",
    "LF-wedge_mm": "7.6",
    "LF-attachment": "nails",
    "LF-nail_count": "6",
    "interval_weeks": "5",
}


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    told.submit()
    told.agree(1)
    at(told, clock)
    return told


def count(story, model):
    with story.database.reading() as session:
        return session.scalar(select(func.count()).select_from(model))


def record(browser, story, **changed):
    fields = hidden_in(browser.get(NEW).text, RESETS)
    day = {"fitted_on": story.today.isoformat()}
    return browser.post(RESETS, {**fields, **AS_PLANNED, **day, **changed})


def sign(browser, address, **more):
    fields = hidden_in(browser.get(address).text, address)
    return browser.post(address, {**fields, "password": PASSWORD, **more})


def recorded(app, story, clock, **changed):
    farrier = browser_of(app, story, "farrier")
    answer = record(farrier, story, **changed)
    assert answer.status_code == 303, answer.text
    assert sign(farrier, answer.location).status_code == 303
    at(story, clock)


def test_the_form_opens_filled_with_the_plan_and_is_the_farriers(app, story):
    page = browser_of(app, story, "farrier").get(NEW).text
    assert 'name="LF-toe_trim_mm"' in page
    assert "planned: 4 mm" in page
    assert '<option value="straight_bar" selected>' in page
    for who in ("vet", "owner", "other_farrier"):
        assert browser_of(app, story, who).get(NEW).status_code == 404


def test_fitted_as_planned_needs_no_reason(app, story, clock):
    recorded(app, story, clock, found="Dry frog", comfort="Level", advice="Soft ground")
    with story.database.reading() as session:
        reset = session.scalars(select(Reset)).one()
        limb = session.scalars(select(ResetLimb)).one()
        state = story.access(session, "vet").state
    assert count(story, Deviation) == 0
    assert (reset.found, reset.comfort, reset.advice) == ("Dry frog", "Level", "Soft ground")
    assert reset.due_on == reset.fitted_on + timedelta(weeks=5) == state.due_on
    assert limb.content["shoe"]["category"] == "straight_bar"
    assert state.task == "Countersign what was fitted"


def test_a_difference_without_its_reason_keeps_everything_typed(app, story):
    farrier = browser_of(app, story, "farrier")
    answer = record(
        farrier,
        story,
        **{"LF-heel_trim_mm": "3.5", "LF-category": "egg_bar", "interval_weeks": "4"},
        found="A bruise under the toe",
    )
    assert answer.status_code == 422
    page = answer.text
    assert page.count("Say why this differs from the plan.") == 6  # beside each, and in the list
    for name in ("LF-reason_heel_trim_mm", "LF-reason_category", "reason_interval_weeks"):
        assert f'href="#{name}"' in page
    assert 'value="3.5"' in page
    assert '<option value="egg_bar" selected>' in page
    assert "A bruise under the toe" in page
    assert count(story, SheetProposal) == 0


def test_what_the_plan_does_not_name_stays_folded_until_something_is_said_in_it(app, story):
    farrier = browser_of(app, story, "farrier")
    folded, unfolded = (
        f"<details{more}><summary>Something the plan does not name" for more in ("", " open")
    )
    assert folded in farrier.get(NEW).text
    assert folded in record(farrier, story, **{"LF-toe_trim_mm": "9"}).text
    assert unfolded in record(farrier, story, **{"LF-pad_mm": "3"}).text


def test_reasons_are_kept_with_what_they_explain(app, story, clock):
    recorded(
        app,
        story,
        clock,
        **{
            "LF-heel_trim_mm": "3,5",
            "LF-reason_heel_trim_mm": "Lower than on the film",
            "interval_weeks": "4",
            "reason_interval_weeks": "A growing spring",
        },
    )
    with story.database.reading() as session:
        rows = session.scalars(select(Deviation).order_by(Deviation.field)).all()
        due = session.scalars(select(Reset.due_on)).one()
    assert [(each.field, each.planned, each.fitted, each.reason) for each in rows] == [
        ("heel_trim_mm", "0", "3.5", "Lower than on the film"),
        ("interval_weeks", "5", "4", "A growing spring"),
    ]
    assert due == story.today + timedelta(weeks=4)
    page = browser_of(app, story, "owner").get(SHOW).text
    assert "Reason: Lower than on the film" in page
    assert "3.5 mm" in page


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("LF-toe_trim_mm", "four", "Write a number"),
        ("LF-toe_trim_mm", "99", "Between 0 and 30 mm."),
        ("interval_weeks", "", "Please fill this in."),
        ("fitted_on", "2026-12-24", "still to come"),
        ("LF-hoof_oil", "yes", "This page has no such field."),
        ("LF-reason_heel_trim_mm", "Low \U0001f434", "(U+1F434) after “Low” cannot be printed"),
    ],
)
def test_what_cannot_be_used_is_said_beside_its_field(app, story, name, typed, said):
    answer = record(browser_of(app, story, "farrier"), story, **{name: typed})
    assert answer.status_code == 422
    assert said in answer.text
    assert count(story, SheetProposal) == 0


def test_what_does_not_go_with_the_film_is_recorded_and_told(app, story, clock):
    said = {"LF-sole_pare_mm": "15", "LF-reason_sole_pare_mm": "Grown out since the film"}
    recorded(app, story, clock, **said)
    page = browser_of(app, story, "vet").get(SHOW).text
    assert "What was fitted does not go with the foot as measured: sole_pare_mm is 15" in page
    with story.database.reading() as session:
        judged = reset_of(session, story.access(session, "vet").case_id, 1)
    verdicts = {each.rule: each.verdict for each in judged.findings}
    assert verdicts["case:0"] == "CANNOT_TELL"


def test_a_red_flag_is_shown_and_stops_no_recording(app, story, clock):
    with story.database.transaction() as session:
        flag = RaiseFlag("not_bearing_weight", "LF", "Suddenly", story.today)
        raise_flag(session, story.access(session, "owner"), flag, story.now)
    at(story, clock)
    page = browser_of(app, story, "farrier").get(NEW).text
    assert "Red flag: Will not bear weight" in page
    assert "Look at the opposite foot for support-limb laminitis: right fore" in page
    assert "tel:" in page
    recorded(app, story, clock)
    assert count(story, Reset) == 1


def test_the_vet_countersigns_and_sets_the_recheck(app, story, clock):
    recorded(app, story, clock)
    vet = browser_of(app, story, "vet")
    assert COUNTERSIGN in vet.get(SHOW).text
    on = story.today + timedelta(weeks=6)
    said = {
        "recheck_on": on.isoformat(),
        "recheck_role": "farrier",
        "films_wanted": "LF from the side",
    }
    answer = sign(vet, COUNTERSIGN, **said)
    assert answer.status_code == 303, answer.text
    with story.database.reading() as session:
        recheck = session.scalars(select(Recheck)).one()
        state = story.access(session, "vet").state
    assert (recheck.due_on, recheck.owner_id) == (on, story.cast.farrier.id)
    assert recheck.films_wanted == "LF from the side"
    assert (state.task, state.recheck_on) == ("Next reset", on)
    assert "Countersigned by" in vet.get(SHOW).text


def test_an_owner_who_declines_may_say_why(app, tmp_path, clock):
    """Common practice, no source: the farrier plans anew and has to know what stood in the way."""
    told = story_in(app, tmp_path)
    told.refer()
    told.submit()
    told.sign_first("vet", told.propose_agreement(told.agreement(1)))
    told.sign_plan()
    at(told, clock)
    path = "/cases/1/plans/1/consents"
    owner = browser_of(app, told, "owner")
    said = {
        **hidden_in(owner.get(f"{path}/new").text, path),
        "decision": "declined",
        "given_by": "The owner",
        "authority": "owner",
        "how": "on this page",
        "given_on": told.today.isoformat(),
        "words": "Not with a bar; he is turned out.",
    }
    assert owner.post(path, said).status_code == 303
    page = words_of(browser_of(app, told, "farrier").get("/cases/1"))
    assert "consent to plan 1 was declined, on this page" in page
    assert "Not with a bar; he is turned out." in page


def test_the_recheck_opens_as_the_agreed_plan_has_it(app, tmp_path, clock):
    """Common practice, no source: what both agreed stands until somebody says otherwise."""
    told = story_in(app, tmp_path)
    told.refer()
    agreed = told.today + timedelta(weeks=4)
    told.submit(recheck=("farrier", 4))
    told.agree(1)
    told.fit(1)
    at(told, clock)
    page = browser_of(app, told, "vet").get(COUNTERSIGN).text
    assert f'name="recheck_on" type="date" value="{agreed.isoformat()}"' in page
    assert '<option value="farrier" selected>' in page


def test_a_countersign_needs_a_recheck_to_come(app, story, clock):
    recorded(app, story, clock)
    vet = browser_of(app, story, "vet")
    past = {"recheck_on": "2026-01-01", "recheck_role": "vet", "words": "Well done"}
    answer = sign(vet, COUNTERSIGN, **past)
    assert answer.status_code == 422
    assert "Choose a day to come." in answer.text
    assert "Well done" in answer.text
    assert count(story, Countersign) == 0
    assert count(story, Recheck) == 0


def test_a_countersign_that_comes_too_late_keeps_its_words_and_never_the_password(
    app, story, clock
):
    recorded(app, story, clock)
    vet, same_vet = browser_of(app, story, "vet"), browser_of(app, story, "vet")
    said = {"recheck_on": (story.today + timedelta(weeks=5)).isoformat(), "recheck_role": "vet"}
    fields = {**hidden_in(vet.get(COUNTERSIGN).text, COUNTERSIGN), "password": PASSWORD, **said}
    assert sign(same_vet, COUNTERSIGN, **said).status_code == 303
    late = vet.post(COUNTERSIGN, {**fields, "words": "Mind the inside heel"})
    assert late.status_code == 409
    assert "Mind the inside heel" in late.text
    assert PASSWORD not in late.text
    assert count(story, Countersign) == 1


def test_only_the_vet_countersigns_and_strangers_see_no_reset(app, story, clock):
    recorded(app, story, clock)
    for who in ("farrier", "owner", "other_vet"):
        browser = browser_of(app, story, who)
        assert browser.get(COUNTERSIGN).status_code == 404
        assert browser.get(SHOW).status_code == (404 if who == "other_vet" else 200)
        answer = browser.post(CORRECTIONS, {"words": "All of it"})
        assert answer.status_code == (404 if who == "other_vet" else 403)
    assert browser_of(app, story, "vet").get("/cases/1/resets/2").status_code == 404
    assert count(story, Countersign) == 0


def test_a_correction_is_asked_for_and_made_from_what_was_recorded(app, story, clock):
    recorded(app, story, clock, found="Dry frog")
    vet = browser_of(app, story, "vet")
    fields = hidden_in(vet.get(SHOW).text, CORRECTIONS)
    assert vet.post(CORRECTIONS, {**fields, "words": " "}).status_code == 422
    answer = vet.post(CORRECTIONS, {**fields, "words": "The wedge was two degrees."})
    assert answer.status_code == 303
    at(story, clock)
    page = browser_of(app, story, "farrier").get(NEW).text
    assert "Put reset 1 right" in page
    assert "The wedge was two degrees." in page
    assert "Dry frog" in page
    two = {"LF-wedge_deg": "2", "LF-reason_wedge_deg": "None of three in the van"}
    recorded(app, story, clock, **two)
    with story.database.reading() as session:
        rows = session.scalars(select(Reset).order_by(Reset.recorded_at)).all()
    assert [each.n for each in rows] == [1, 1]
    assert rows[1].corrects_id == rows[0].id
    shown = vet.get(SHOW).text
    assert "This is record 2 of this reset" in shown
    assert "None of three in the van" in shown
