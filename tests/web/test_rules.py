"""The pages of rules as people read them; an own rule of a practice's beside the shipped ones."""

import html
import re

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.rulebook.loader import load_rulebook
from referral.rules.models import RuleChangeRow
from referral.rules.template import OWN_RULE
from tests.factories import a_person
from tests.web.browsing import Browser
from tests.web.ruling import (
    LOOSER,
    STALE,
    findings,
    kept,
    own,
)
from tests.web.yard import PLAN, TODAY, a_yard, words_of


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


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


# A rule file is TOML, which writes any sign as \UXXXXXXXX: TOML 1.0, strings.
@pytest.mark.parametrize("key", ["title", "says", "source"])
def test_an_own_rule_cannot_say_by_an_escape_what_no_sheet_can_print(yard, key):
    before = yard.rows()
    answer = own(yard, OWN_RULE.replace(f'{key} = "', f'{key} = "Mind \\U0001F434 '))
    assert answer.status_code == 422
    beside = answer.text.partition('id="rule_text-fault"')[2].partition("</p>")[0]
    assert "(U+1F434) after “" in beside
    assert "Mind” cannot be printed on a sheet: write it in words." in beside
    assert yard.rows() == before


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


def test_an_own_rule_that_can_no_longer_be_read_is_named(yard):
    own(yard)
    assert "is not asked" not in words_of(yard.browser("farrier").get("/rules"))
    with yard.database.transaction() as session:
        row = session.scalars(select(RuleChangeRow)).one()
        row.text = row.text.replace("sole_depth_tip_mm", "sole_depth_of_old_mm")
    assert "HILL01 is not asked" in words_of(yard.browser("farrier").get("/rules"))


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
    yard.browsers["clerk"] = browser
    refused = own(yard, who="clerk", topic="record")
    assert refused.status_code == 403
    assert "a vet of the practice sets it" in words_of(refused)
    named = {**LOOSER, "practice": str(yard.cast.practice_id)}
    assert yard.browser("other_vet").get("/rules/R22").status_code == 200
    assert yard.browser("other_vet").post("/rules/R22/changes", named).status_code == 404


def test_the_window_is_that_of_the_practices_book(yard):
    asked = {**PLAN, "case": yard.number, "draw": "yes"}
    title = "Sole depth under the tip before work on hard ground"
    yard.open("farrier", "/plans/new")
    before = yard.browser("farrier").post("/api/window", asked)
    assert before.status_code == 200
    assert title not in before.text
    strict = OWN_RULE.replace("at_least = 12", "at_least = 30").replace("caution", "breach")
    strict = strict.replace("= 14", "= 40").replace("= 12.2", "= 30.2")
    assert own(yard, strict).status_code == 303
    yard.open("farrier", "/plans/new")
    assert title in yard.browser("farrier").post("/api/window", asked).text
