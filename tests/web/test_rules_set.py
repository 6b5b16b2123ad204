"""A practice sets rules otherwise: tried, kept, judged by, and what was agreed stands."""

import json
from datetime import timedelta

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.cases.models import CaseMember
from referral.errors import OutOfDate
from referral.plans.models import JudgementRow
from referral.rulebook.loader import load_rulebook
from referral.rules.queries import book_on_case, overrides_on_case, practice_of_case
from referral.sheets.letters import Letter, draft_letter
from referral.sheets.snapshot import SheetKind
from tests.factories import a_person
from tests.web.ruling import (
    LOOSER,
    STALE,
    STRICTER,
    fields_in,
    findings,
    judged_again,
    kept,
    set_rule,
    tried,
)
from tests.web.signing import at, browser_of, story_in
from tests.web.yard import TODAY, a_yard, words_of


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def test_a_stricter_limit_is_tried_then_set_and_judges_what_nobody_agreed_to(yard, clock):
    yard.submit()
    before = yard.rows()
    trial = words_of(tried(yard, STRICTER))
    assert "1 plan of yours judged with and without it: 1 answer would change" in trial
    assert "Case 1, plan 1 LF Weeks to the next reset Within \u2192 Outside Caution" in trial
    assert yard.rows() == before
    assert kept(yard, STRICTER) == "/rules/R22"
    assert yard.rows()["rule_change"] == 1
    assert STALE in words_of(yard.open("vet", "/plans/1"))
    old = findings(yard, "R22")[0]
    assert (old.verdict, old.limit_from) == ("WITHIN", "shipped")
    judged_again(yard, clock)
    assert STALE not in words_of(yard.open("vet", "/plans/1"))
    finding = findings(yard, "R22")[0]
    assert (finding.verdict, finding.limit_from, finding.limit) == ("OUTSIDE", "practice", 4.5)
    assert finding.limit_since == TODAY
    page = words_of(yard.open("farrier", "/plans/1"))
    assert "Rules of the vet’s practice The practice has set these rules itself: R22" in page
    wanted = "Hollow Lane Vets since 2026-11-25, because: Our horses stand on soft ground."
    assert finding.says.endswith(wanted)
    assert "at most 8 weeks: caution" in finding.says


MORE = {
    "stance": "limits",
    "limit_1_at_most": "6", "limit_1_severity": "caution",
    "limit_2_at_most": "8", "limit_2_severity": "caution",
    "limit_3_at_most": "10", "limit_3_severity": "breach",
    "limit_4_at_most": "4.5", "limit_4_severity": "note",
    "inside": "4", "outside": "11",
    "since": TODAY, "reason": "We want a word before it is late",
    "evidence": "common practice", "source": "Our own record of four years",
}  # fmt: skip
"""The rule on weeks as it is shipped, and one limit more."""


def test_one_limit_more_is_judged_beside_the_shipped_ones_and_loosens_nothing(yard):
    trial = words_of(tried(yard, MORE))
    assert "This is looser than shipped" not in trial
    kept(yard, MORE)
    yard.submit()
    finding = findings(yard, "R22")[0]
    assert (finding.verdict, finding.severity, finding.limit) == ("OUTSIDE", "note", 4.5)
    assert (finding.limit_from, finding.looser_than_shipped) == ("practice", False)
    assert 'value="4.5"' in yard.browser("vet").get("/rules/R22/changes/new").text
    # left empty again it is gone
    gone = {**MORE, "limit_4_at_most": "", "limit_4_severity": ""}
    kept(yard, {**gone, "limit_1_at_most": "5.5"})
    assert 'value="4.5"' not in yard.browser("vet").get("/rules/R22/changes/new").text


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"limit_4_severity": ""}, "limit_4_severity", "Please fill this in"),
        ({"limit_4_at_most": ""}, "limit_4_at_most", "Please fill this in"),
        ({"limit_4_severity": "red_flag"}, "limit_4_severity", "Choose one from the list"),
        ({"limit_4_at_most": "5", "limit_4_severity": "breach"}, "limit_1_at_most", "farther out"),
        ({"limit_5_at_most": "3"}, "", "need another look"),
    ],
)
def test_one_limit_more_that_is_not_whole_or_out_of_order_is_refused(yard, changed, field, said):
    before = yard.rows()
    answer = tried(yard, {**MORE, **changed})
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert f'id="{field}-fault"' in answer.text or not field
    assert yard.rows() == before


def test_a_rule_that_has_no_numbers_takes_none_more(yard):
    assert "One limit more" in yard.browser("vet").get("/rules/R22/changes/new").text
    assert "One limit more" not in yard.browser("vet").get("/rules/R01/changes/new").text


def test_what_is_loosened_stands_on_every_plan_whatever_the_answer(yard, clock):
    kept(yard, LOOSER)
    yard.submit(**{"LF-interval_weeks": "5"})
    finding = findings(yard, "R22")[0]
    assert (finding.verdict, finding.looser_than_shipped) == ("WITHIN", True)
    for who in ("vet", "farrier", "owner"):
        page = words_of(yard.open(who, "/plans/1"))
        assert "Looser than shipped, as the vet’s practice has set it" in page
        assert "loosened by Hollow Lane Vets since" in page
        assert "because: Our horses stand on soft ground" in page


def test_a_rule_put_off_stands_on_the_plan_and_passes_nothing(yard):
    form = {"stance": "off", "since": TODAY, "reason": "We see to it by hand"}
    kept(yard, {**form, **{name: "" for name in LOOSER if name.startswith("limit")}})
    yard.submit()
    finding = findings(yard, "R22")[0]
    assert (finding.verdict, finding.reason) == ("NOT_APPLICABLE", "put_off")
    page = words_of(yard.open("farrier", "/plans/1"))
    assert "put off by Hollow Lane Vets" in page
    assert "Set otherwise by Hollow Lane Vets" in words_of(yard.browser("farrier").get("/rules"))
    kept(yard, {**form, "stance": "shipped", "reason": "Asked again"})
    rule = words_of(yard.browser("vet").get("/rules/R22"))
    assert "In force As it was shipped. Because: Asked again" in rule
    assert "Replaced since Looser than shipped Not asked at all" in rule


def test_a_change_to_come_changes_nothing_until_its_day(yard, clock):
    yard.submit()
    kept(yard, {**STRICTER, "since": "2026-11-27"})
    assert STALE not in words_of(yard.open("vet", "/plans/1"))
    assert "To come" in words_of(yard.browser("vet").get("/rules/R22"))
    clock.move(days=2)
    yard.browsers.clear()
    assert STALE in words_of(yard.open("vet", "/plans/1"))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"since": "2026-11-24"}, "Choose today or a day to come"),
        ({"reason": ""}, "Reason : Please fill this in."),
        ({"source": ""}, "Source : Please fill this in."),
        ({"limit_3_at_most": "8"}, "is not farther out than"),
        ({"limit_2_at_most": "nine"}, "Write a number such as 12.5"),
        ({"limit_1_severity": "red_flag"}, "Choose one from the list."),
        ({"inside": "20"}, "These limits answer outside to it (breach)."),
        ({"outside": "3"}, "These limits answer within to it (caution)."),
        ({"inside": ""}, "Inside : Please fill this in."),
        ({"limit_9_at_most": "3"}, "This page has no such field."),
        ({"practice": "mine"}, "Choose a practice."),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_is_still_there(
    yard, changed, said
):
    before = yard.rows()
    answer = tried(yard, {**LOOSER, **changed})
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert "Our own record of four years" in answer.text or "source" in changed
    assert yard.rows() == before


def test_nothing_changed_is_no_change(yard):
    shipped = {
        "limit_1_at_most": "6",
        "limit_2_at_most": "8",
        "limit_3_at_most": "10",
        "outside": "11",
    }
    same = "Nothing is other than it was"
    assert same in words_of(tried(yard, {**LOOSER, **shipped}))
    assert same in words_of(tried(yard, {**LOOSER, "stance": "shipped"}))
    kept(yard, {**LOOSER, "stance": "off"})
    assert same in words_of(tried(yard, {**LOOSER, "stance": "off"}))
    kept(yard, LOOSER)
    assert same in words_of(tried(yard, LOOSER))
    assert tried(yard, {**LOOSER, **shipped}).status_code == 200


def test_a_red_flag_is_set_otherwise_by_nobody(yard):
    answer = tried(yard, {"stance": "off", "since": TODAY, "reason": "No"}, "/rules/R24")
    assert answer.status_code == 422
    assert "A shipped red flag stays as it is" in words_of(answer)


def test_one_practices_change_touches_no_other_practice(yard):
    kept(yard, STRICTER, who="other_vet")
    yard.submit()
    assert findings(yard, "R22")[0].limit_from == "shipped"
    assert "Far Field Vets" not in yard.browser("vet").get("/rules/R22").text
    assert "Our horses stand" not in yard.browser("farrier").get("/rules/R22").text
    assert "0 plans of yours" in words_of(tried(yard, LOOSER, who="other_vet"))


def test_a_vet_who_has_no_part_in_a_case_is_shown_nothing_of_it(app, database, yard):
    yard.submit()
    with database.transaction() as session:
        practice = session.get(Organisation, yard.cast.practice_id)
        yard.emails["colleague"] = a_person(session, "vet", practice).email
    trial = words_of(tried(yard, STRICTER, who="colleague"))
    assert "0 plans of yours judged" in trial
    assert "Case 1" not in trial
    kept(yard, STRICTER, who="colleague")
    assert STALE in words_of(yard.open("vet", "/plans/1"))


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    told.submit()
    at(told, clock)
    return told


def test_an_agreement_before_consent_is_asked_again_and_holds_again_if_the_rule_is_back(
    app, story, clock
):
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    set_rule(app, story, clock)
    moved = "Rules have changed since plan 1 was judged"
    assert moved in words_of(browser_of(app, story, "farrier").get("/cases/1"))
    with pytest.raises(OutOfDate, match="ask the vet again"):
        story.sign_plan()
    back = {"stance": "shipped", "reason": "Not yet"}
    set_rule(app, story, clock, back)
    assert moved not in words_of(browser_of(app, story, "farrier").get("/cases/1"))
    story.sign_plan()
    set_rule(app, story, clock)
    with pytest.raises(OutOfDate, match="ask the vet again"):
        story.consent(1)
    at(story, clock)
    vet = browser_of(app, story, "vet")
    path = "/cases/1/plans/1/judgements"
    answer = vet.post(path, fields_in(vet.get("/cases/1/plans/1"), path))
    assert answer.status_code == 303
    assert "Agree, and look at the sheet to sign" in words_of(vet.get("/cases/1/plans/1"))
    story.move(minutes=1)
    story.agree(1)
    assert STALE not in words_of(vet.get("/cases/1/plans/1"))


def test_what_is_agreed_and_consented_to_stands_whatever_is_set_later(app, story, clock):
    story.agree(1)
    with story.database.reading() as session:
        before = [
            (row.basis, row.rulebook_sha256)
            for row in session.scalars(select(JudgementRow).order_by(JudgementRow.id))
        ]
    set_rule(app, story, clock)
    vet = browser_of(app, story, "vet")
    assert STALE not in words_of(vet.get("/cases/1/plans/1"))
    assert "Rules have changed" not in words_of(vet.get("/cases/1"))
    story.fit(1)
    with story.database.reading() as session:
        rows = session.scalars(select(JudgementRow).order_by(JudgementRow.id)).all()
        assert [(row.basis, row.rulebook_sha256) for row in rows[: len(before)]] == before
        assert rows[-1].rulebook_sha256 != before[-1][1]


def test_nobody_judges_an_agreed_plan_again_where_nothing_changed(app, story, clock):
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    at(story, clock)
    vet = browser_of(app, story, "vet")
    vet.get("/cases/1/plans/1")
    answer = vet.post("/cases/1/plans/1/judgements", {})
    assert answer.status_code == 409
    assert "Nothing has changed since the vet agreed" in words_of(answer)


def test_a_sheet_names_the_book_of_the_vets_practice(app, story, clock):
    set_rule(app, story, clock)
    shipped = load_rulebook()
    with story.database.reading() as session:
        access = story.access(session, "vet")
        book = book_on_case(session, access.case_id, shipped, story.today)
        assert book.content_hash != shipped.content_hash
        letter = Letter(SheetKind.REFERRAL, None)
        draft = draft_letter(session, access, story.office, letter, story.now)
        assert json.loads(draft.snapshot)["rulebook"] == book.content_hash
        yesterday = story.today - timedelta(days=1)
        assert book_on_case(session, access.case_id, shipped, yesterday) is shipped


def test_the_first_vet_with_a_practice_decides_whose_book_judges(app, story, clock):
    with story.database.transaction() as session:
        access = story.access(session, "vet")
        members = session.scalars(
            select(CaseMember).where(CaseMember.case_id == access.case_id, CaseMember.role == "vet")
        ).all()
        assert practice_of_case(session, access.case_id) == story.cast.practice_id
        members[0].until = story.now
        session.flush()
        assert practice_of_case(session, access.case_id) is None
        assert overrides_on_case(session, access.case_id) == ()
