"""The pages of rules: read with their sources, set for a practice, tried before they are kept."""

import html
import json
import re
from datetime import timedelta

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.cases.models import CaseMember
from referral.errors import OutOfDate
from referral.plans.models import FindingRow, JudgementRow
from referral.rulebook.loader import load_rulebook
from referral.rules.models import RuleChangeRow
from referral.rules.queries import book_on_case, overrides_on_case, practice_of_case
from referral.rules.template import OWN_RULE
from referral.sheets.letters import Letter, draft_letter
from referral.sheets.snapshot import SheetKind
from tests.factories import a_person
from tests.web.browsing import Browser
from tests.web.signing import at, browser_of, story_in
from tests.web.yard import PLAN, TODAY, a_yard, hidden_in, words_of

STALE = "Judged on other ground"
R22 = "/rules/R22"
LOOSER = {
    "stance": "limits",
    "limit_1_at_most": "6",
    "limit_1_severity": "caution",
    "limit_2_at_most": "9",
    "limit_2_severity": "caution",
    "limit_3_at_most": "12",
    "limit_3_severity": "breach",
    "inside": "5,5",
    "outside": "13",
    "since": TODAY,
    "reason": "Our horses stand on soft ground",
    "evidence": "common practice",
    "source": "Our own record of four years",
}
STRICTER = {
    **LOOSER,
    "limit_1_at_most": "4",
    "limit_2_at_most": "4.5",
    "limit_3_at_most": "10",
    "inside": "3.5",
}


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def fields_in(page, action):
    """Return the hidden fields of the form that leads there, as a browser reads them."""
    return {name: html.unescape(value) for name, value in hidden_in(page, action).items()}


def tried(yard, form, where="/rules/R22", who="vet"):
    opened = yard.browser(who).get(f"{where}/changes/new")
    return yard.browser(who).post(
        f"{where}/trials", {**fields_in(opened, f"{where}/trials"), **form}
    )


def kept(yard, form, where="/rules/R22", who="vet"):
    trial = tried(yard, form, where, who)
    assert trial.status_code == 200, words_of(trial)
    answer = yard.browser(who).post(f"{where}/changes", fields_in(trial, f"{where}/changes"))
    assert answer.status_code == 303, words_of(answer)
    return answer.location


def judged_again(yard, clock):
    clock.move(minutes=1)
    yard.done("vet", "/plans/1", "/plans/1/judgements", {})


def findings(yard, rule):
    """Return what the latest judgement says by this rule."""
    with yard.database.reading() as session:
        latest = session.scalars(
            select(JudgementRow).order_by(JudgementRow.judged_at.desc()).limit(1)
        ).one()
        wanted = (FindingRow.judgement_id == latest.id, FindingRow.rule == rule)
        return session.scalars(select(FindingRow).where(*wanted)).all()


def test_every_rule_is_listed_under_its_topic_and_has_a_page(yard):
    page = yard.browser("owner").get("/rules")
    addresses = re.findall(r'href="(/rules/R[0-9]+)"', page.text)
    rules = load_rulebook().rules
    assert {each.removeprefix("/rules/") for each in addresses} == {rule.id for rule in rules}
    assert len(addresses) == len(rules)
    for address in addresses:
        answer = yard.browser("owner").get(address)
        assert answer.status_code == 200
        said = words_of(answer)
        for part in ("In force since", "It needs", "Examples Within", "Where it comes from"):
            assert part in said, address


def test_a_rule_is_found_by_its_words_and_by_what_it_needs(yard):
    found = words_of(yard.browser("owner").get("/rules?text=sole+PROCESS"))
    assert "1 rule." in found
    assert "R45" in found
    found = words_of(yard.browser("owner").get("/rules?needs=the+foot+in+hand"))
    assert "R13" in found
    assert "R45" not in found
    assert "No rule holds all of these words" in words_of(
        yard.browser("owner").get("/rules?text=zebra")
    )
    assert "54 rules." in words_of(yard.browser("owner").get("/rules?needs=a+zebra"))


def test_a_rule_says_whom_it_leaves_out_and_why_and_what_rests_on_memory(yard):
    sole = words_of(yard.browser("farrier").get("/rules/R04"))
    assert "Left hind, right hind : Does not apply it is for another limb." in sole
    assert "foal, under one year : Does not apply there is no figure for this animal." in sole
    assert "a scale, because it is a length" in sole
    assert "Caution at least 15 mm" in sole
    assert "from memory" not in sole
    age = words_of(yard.browser("farrier").get("/rules/R02"))
    assert "Feet without a condition : Does not apply it has no limit for this foot" in age
    assert "no limit for this foot" not in sole
    weight = words_of(yard.browser("farrier").get("/rules/R31"))
    assert "from memory, not looked up" in weight
    assert "stays marked so until its original was read" in weight
    assert "nobody sets it otherwise" in words_of(yard.browser("vet").get("/rules/R24"))


def test_a_finding_leads_to_its_rule(yard):
    yard.submit()
    assert 'href="/rules/R04"' in yard.open("owner", "/plans/1").text
    assert yard.browser("owner").get("/rules/R4711").status_code == 404


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


def own(yard, text=OWN_RULE, who="vet", **changed):
    opened = yard.browser(who).get("/own-rules/new")
    assert opened.status_code == 200, words_of(opened)
    fields = fields_in(opened, "/own-rules/trials")
    form = {"topic": "sole", "text": text, "since": TODAY, "reason": "We saw it fail", **changed}
    trial = yard.browser(who).post("/own-rules/trials", {**fields, **form})
    if trial.status_code != 200:
        return trial
    return yard.browser(who).post("/own-rules", fields_in(trial, "/own-rules"))


def test_an_own_rule_judges_the_practices_plans_and_is_read_by_those_on_them(yard):
    assert own(yard).location == "/rules/HILL01"
    yard.submit()
    (finding,) = findings(yard, "HILL01")
    assert (finding.limit_from, finding.limit) == ("practice", 12.0)
    assert "A rule of Hollow Lane Vets since 2026-11-25, because: We saw it fail." in finding.says
    for who in ("vet", "farrier", "owner"):
        page = words_of(yard.browser(who).get("/rules/HILL01"))
        assert "Hollow Lane Vets’s own rule" in page
        assert "HILL01, sole" in page
        assert "HILL01" in words_of(yard.browser(who).get("/rules?text=hard+ground"))
    assert "The id HILL01 is taken" in words_of(own(yard, who="other_vet"))
    for who in ("other_vet", "other_farrier"):
        assert yard.browser(who).get("/rules/HILL01").status_code == 404
        assert "HILL01" not in yard.browser(who).get("/rules").text
    kept(yard, {"stance": "off", "since": TODAY, "reason": "Over"}, "/rules/HILL01")
    assert STALE in words_of(yard.open("vet", "/plans/1"))


def test_an_own_rule_is_written_anew_as_a_new_row(yard):
    own(yard)
    assert "HILL01" in yard.browser("vet").get("/own-rules/new?rule=HILL01").text
    assert own(yard, OWN_RULE.replace("at_least = 12", "at_least = 12.1")).status_code == 303
    with yard.database.reading() as session:
        rows = session.scalars(select(RuleChangeRow).order_by(RuleChangeRow.id)).all()
        assert [row.stance for row in rows] == ["own", "own"]
        assert "at_least = 12\n" in rows[0].text
    yard.submit()
    assert findings(yard, "HILL01")[0].limit == 12.1


@pytest.mark.parametrize(
    ("said", "instead", "fault"),
    [
        ('severity = "caution"', 'severity = "red_flag"', "Red flags are the shipped book’s alone"),
        ("value = 14", "value = 11", "the example says WITHIN but the rule answers OUTSIDE"),
        ('unit = "mm"', 'unit = "deg"', "Line 11: the unit 'deg' is wrong; write unit = \"mm\"."),
        ('id = "HILL01"', 'id = "R04"', "The id R04 is taken"),
        ('id = "HILL01"', 'id = "R999"', "The id R999 is taken, or kept for"),
        ('id = "HILL01"', "id = 7", "'id' is wrong"),
        ('id = "HILL01"', 'id = "../../HILL01"', "is no id"),
        ("kind =", "kind", "this is not TOML"),
        ("at_least = 12", "at_least = " + "9" * 400, "'at_least' is wrong"),
        ("at_least = 12", "at_least = " + "9" * 5000, "this is not TOML"),
        ("at_least = 12", "at_least = " + "[" * 3000, "this is not TOML"),
        ("at_least = 12", "at_least = nan", "'at_least' is wrong"),
        ('verdict = "CANNOT_TELL"', "", "No example is CANNOT_TELL"),
    ],
)
def test_an_own_rule_that_is_not_in_order_is_refused_with_its_faults(yard, said, instead, fault):
    before = yard.rows()
    assert said in OWN_RULE
    answer = own(yard, OWN_RULE.replace(said, instead, 1))
    assert answer.status_code == 422
    assert fault in html.unescape(words_of(answer))
    assert "Wait for growth, or protect the sole" in answer.text
    assert yard.rows() == before


def test_a_clinical_limit_is_a_vets_and_the_record_a_coordinators_too(app, database, yard):
    with database.transaction() as session:
        practice = session.get(Organisation, yard.cast.practice_id)
        email = a_person(session, "coordinator", practice).email
    browser = Browser(app)
    browser.sign_in(email)
    refused = browser.get("/rules/R22/changes/new")
    assert refused.status_code == 403
    assert "a vet of the practice sets it" in words_of(refused)
    assert browser.get("/rules/R28/changes/new").status_code == 200
    assert yard.browser("farrier").get("/rules/R28/changes/new").status_code == 403
    named = {**LOOSER, "practice": str(yard.cast.practice_id)}
    assert yard.browser("other_vet").get("/rules/R22").status_code == 200
    assert yard.browser("other_vet").post("/rules/R22/changes", named).status_code == 404


def test_one_practices_change_touches_no_other_practice(yard):
    kept(yard, STRICTER, who="other_vet")
    yard.submit()
    assert findings(yard, "R22")[0].limit_from == "shipped"
    assert "Far Field Vets" not in yard.browser("vet").get("/rules/R22").text
    assert "Our horses stand" not in yard.browser("farrier").get("/rules/R22").text
    assert "0 plans of yours" in words_of(tried(yard, LOOSER, who="other_vet"))


@pytest.fixture
def story(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    told.submit()
    at(told, clock)
    return told


def set_rule(app, story, clock, form=STRICTER):
    """Set rule R22 for the practice, on the story's day, as its vet."""
    at(story, clock)
    vet = browser_of(app, story, "vet")
    form = {**form, "since": story.today.isoformat()}
    opened = vet.get("/rules/R22/changes/new")
    trial = vet.post("/rules/R22/trials", {**fields_in(opened, "/rules/R22/trials"), **form})
    kept_ = vet.post("/rules/R22/changes", fields_in(trial, "/rules/R22/changes"))
    assert kept_.status_code == 303
    story.move(minutes=1)


def test_an_agreement_before_consent_is_asked_again_and_holds_again_if_the_rule_is_back(
    app, story, clock
):
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    set_rule(app, story, clock)
    with pytest.raises(OutOfDate, match="ask the vet again"):
        story.sign_plan()
    back = {"stance": "shipped", "reason": "Not yet"}
    set_rule(app, story, clock, back)
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


def test_the_window_is_that_of_the_practices_book(yard):
    asked = f"{yard.home}/plan-windows"
    before = words_of(yard.browser("farrier").post(asked, PLAN))
    assert "before work on hard ground" not in before
    strict = OWN_RULE.replace("at_least = 12", "at_least = 30").replace("caution", "breach")
    strict = strict.replace("= 14", "= 40").replace("= 12.2", "= 30.2")
    assert own(yard, strict).status_code == 303
    yard.open("farrier", "/plans/new")
    after = words_of(yard.browser("farrier").post(asked, PLAN))
    assert "Sole depth under the tip before work on hard ground" in after
