"""A case through its pages: the moves before a plan, and everything that can be typed wrong."""

import pytest

from tests.factories import NOW, a_case
from tests.web.yard import a_yard, hidden_in, words_of

STILL_HERE = "what you typed is still here"


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def test_a_case_goes_from_a_problem_to_the_farriers_turn(yard):
    assert "Record the problem" in words_of(yard.open("vet"))
    yard.refer_by_hand()
    page = words_of(yard.open("farrier"))
    for said in (
        "Write the plan",
        "Long toe, under-run heels",
        "Palmar angle at least 3°",
        "set a limit: palmar angle at least 3° after fitting, LF",
        "Palmar angle up to 3° by spring",
    ):
        assert said in page
    assert "Bramble" not in page
    assert "Waiting on you" in words_of(yard.browser("farrier").get("/"))


@pytest.mark.parametrize("who", ["vet", "farrier", "owner", "apprentice", "coordinator"])
def test_everybody_on_the_case_sees_it_and_no_stranger_does(yard, who):
    yard.refer()
    assert yard.open(who).status_code == 200
    assert f"Case {yard.number}" in words_of(yard.browser(who).get("/"))
    stranger = words_of(yard.browser("other_vet").get("/"))
    assert "Case" not in stranger.replace("Your cases", "").replace("Open a case", "")
    unknown = yard.browser("other_vet").get("/cases/4711")
    hidden = yard.open("other_vet")
    assert (hidden.status_code, words_of(hidden)) == (404, words_of(unknown))


BAD = [
    ("/problems", {"limb": "LF"}, "condition"),
    ("/problems", {"limb": "XX", "condition": "abscess", "certainty": "confirmed"}, "limb"),
    ("/problems", {"condition": "other", "words": ""}, "words"),
    ("/problems", {"happened_on": "2026-11-31"}, "happened_on"),
    ("/problems", {"happened_on": "2031-01-01"}, "happened_on"),
    ("/limits", {"measure": "palmar_angle_deg", "stage": "after_fit"}, "strength"),
    ("/limits", {"at_least": "three"}, "at_least"),
    ("/limits", {"at_least": "1,000"}, "at_least"),
    ("/limits", {"at_least": "NaN"}, "at_least"),
    ("/limits", {"measure": "no_such_reading"}, "measure"),
    ("/limits", {"at_least": ""}, "at_least"),
    ("/limits", {"at_least": "5", "at_most": "4"}, "at_least"),
    ("/limits", {"replaces_id": "not an id"}, "replaces_id"),
    ("/referrals", {"limbs": "LF", "urgency": "routine"}, "goals"),
    ("/referrals", {"limbs": "RH"}, "limbs"),
    ("/observations", {"about": "landing"}, "words"),
    ("/red-flags", {"words": "Blood at the toe"}, "sign"),
    ("/closures", {"words": "Sold"}, "outcome"),
]
GOOD = {
    "/problems": {"limb": "LF", "condition": "abscess", "certainty": "confirmed", "words": "Pus"},
    "/limits": {
        "measure": "palmar_angle_deg",
        "stage": "after_fit",
        "strength": "must",
        "at_least": "3",
        "reason": "Thin sole, be careful",
    },
    "/referrals": {"limbs": "LF", "urgency": "routine", "goals": "More heel"},
}
PARTIAL = {"measure", "goals", "sign", "outcome", "condition", "strength"}


@pytest.mark.parametrize(("path", "typed", "field"), BAD)
def test_what_cannot_be_used_is_said_beside_its_field_and_nothing_typed_is_lost(
    yard, path, typed, field
):
    if path == "/referrals":
        yard.refer()
    if field == "replaces_id":
        yard.limit(measure="sole_depth_tip_mm", at_least="10")
    whole = {} if field in PARTIAL and "measure" not in typed else GOOD.get(path, {})
    sent = {**({} if field == "strength" else whole), **typed}
    before = yard.rows()
    answer = yard.send("vet", f"{path}/new", path, sent)
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert STILL_HERE in answer.text or 'class="notice-title"' in answer.text
    for name in ("words", "reason", "goals"):
        if sent.get(name):
            assert sent[name] in answer.text
    assert yard.rows() == before


def test_a_form_sent_twice_is_done_once_and_leads_to_the_same_place(yard):
    path = f"{yard.home}/observations"
    hidden = hidden_in(yard.open("farrier", "/observations/new"), path)
    seen = {**hidden, "about": "landing", "words": "Lands toe first"}
    first = yard.browser("farrier").post(path, seen)
    after_one = yard.rows()
    second = yard.browser("farrier").post(path, seen)
    assert (first.status_code, second.status_code) == (303, 303)
    assert first.location == second.location
    assert yard.rows() == after_one
    assert after_one["observation"] == 1


def test_a_form_that_says_something_else_under_the_same_key_is_refused_with_its_words(yard):
    path = f"{yard.home}/observations"
    hidden = hidden_in(yard.open("farrier", "/observations/new"), path)
    yard.browser("farrier").post(path, {**hidden, "about": "landing", "words": "Toe first"})
    before = yard.rows()
    other = {**hidden, "about": "landing", "words": "Heel first, on a second look"}
    answer = yard.browser("farrier").post(path, other)
    assert answer.status_code == 409
    assert "Heel first, on a second look" in answer.text
    assert yard.rows() == before
    again = {**other, **hidden_in(answer, path)}
    assert yard.browser("farrier").post(path, again).status_code == 303


def test_a_stale_form_says_what_happened_since_and_keeps_the_words(yard):
    yard.refer()
    path = f"{yard.home}/questions"
    hidden = hidden_in(yard.open("farrier", "/questions/new"), path)
    yard.done("vet", "/closures/new", "/closures", {"outcome": "improved"})
    before = yard.rows()
    question = {**hidden, "words": "Which shoe was on before?"}
    answer = yard.browser("farrier").post(path, question)
    assert answer.status_code == 409
    assert "Which shoe was on before?" in answer.text
    assert "closed the case: improved" in words_of(answer)
    assert yard.rows() == before


def test_a_move_that_is_not_ones_own_is_refused_and_says_whose_it_is(yard):
    yard.refer()
    before = yard.rows()
    for who, path in (("farrier", "/problems"), ("owner", "/limits"), ("owner", "/questions")):
        opened = yard.open(who, f"{path}/new")
        sent = yard.browser(who).post(yard.home + path, {"words": "x"})
        assert (opened.status_code, sent.status_code) == (403, 403)
        assert "can do this" in words_of(sent)
    assert yard.rows() == before


def test_a_question_goes_to_the_vet_and_comes_back(yard):
    yard.refer()
    yard.done("farrier", "/questions/new", "/questions", {"words": "Bar shoe allowed?"})
    assert "Bar shoe allowed?" in words_of(yard.open("vet"))
    yard.done("vet", "/answers/new", "/answers", {"words": "Yes, straight bar"})
    page = words_of(yard.open("farrier"))
    assert "Write the plan" in page
    head, below = page.split("Asked and answered")
    assert "Question from" not in head
    assert "Yes, straight bar" in head
    assert "Bar shoe allowed?" in below


def test_the_desk_names_what_stands_on_a_foot_and_not_what_was_replaced(yard):
    yard.refer()
    problem = {"limb": "LF", "condition": "quarter_crack", "certainty": "confirmed"}
    yard.done("vet", "/problems/new", "/problems", problem)
    desk = words_of(yard.browser("vet").get("/"))
    assert "quarter crack" in desk.lower()
    assert "under-run heels" not in desk.lower()


def test_a_limit_is_taken_back_with_a_reason_and_stays_in_the_timeline(yard):
    yard.limit(measure="sole_depth_tip_mm", at_least="10")
    address = yard.open("vet").text.split("/withdrawals/new")[0].rsplit('href="', 1)[1]
    path = f"{address.removeprefix(yard.home)}/withdrawals"
    refused = yard.send("vet", f"{path}/new", path, {"reason": " "})
    assert refused.status_code == 422
    yard.done("vet", f"{path}/new", path, {"reason": "Mistyped"})
    page = words_of(yard.open("vet"))
    assert "No limit is set yet" in page
    assert "took back the limit: sole depth under the tip after fitting, LF" in page
    assert yard.browser("vet").get(f"{yard.home}{path}/new").status_code == 404


def test_a_red_flag_stops_planned_work_until_the_vet_has_answered(yard):
    yard.refer()
    flag = {"sign": "pain_after_shoeing", "limb": "LF", "words": "Will not walk"}
    yard.done("owner", "/red-flags/new", "/red-flags", flag)
    assert "Red flag: Pain after shoeing" in words_of(yard.open("farrier"))
    assert 'href="tel:' in yard.open("owner", "/red-flags/new").text
    assert "Not now" in words_of(yard.open("farrier", "/plans/new"))
    address = yard.open("vet").text.split("/answers/new")[0].rsplit('href="', 1)[1]
    path = f"{address.removeprefix(yard.home)}/answers"
    sent = {"answer": "managed", "reason": "Seen, a bruise"}
    refused = yard.send("vet", f"{path}/new", path, sent)
    assert refused.status_code == 422
    assert "Seen, a bruise" in refused.text
    yard.done("vet", f"{path}/new", path, {**sent, "until": "2026-12-01"})
    assert "Not now" not in words_of(yard.open("farrier", "/plans/new"))


def test_a_managed_red_flag_stops_planned_work_again_after_its_day(yard, clock):
    yard.refer()
    yard.done("owner", "/red-flags/new", "/red-flags", {"sign": "pain_after_shoeing"})
    address = yard.open("vet").text.split("/answers/new")[0].rsplit('href="', 1)[1]
    path = f"{address.removeprefix(yard.home)}/answers"
    managed = {
        "answer": "managed",
        "reason": "A bruise",
        "within": "No trim of the sole",
        "until": "2026-12-01",
    }
    for wrong in ({"until": "2026-11-24"}, {"answer": "resolved"}):
        assert yard.send("vet", f"{path}/new", path, {**managed, **wrong}).status_code == 422
    yard.done("vet", f"{path}/new", path, managed)
    page = words_of(yard.open("farrier"))
    assert "Known and managed until 1 Dec 2026: Pain after shoeing" in page
    assert "Go on within these limits: No trim of the sole" in page
    assert "answered a red flag: known and managed until 1 Dec 2026" in page
    clock.move(days=6)
    yard.browsers.clear()
    yard.submit()
    clock.move(days=1)
    yard.browsers.clear()
    assert "Answer the red flag" in words_of(yard.open("vet"))
    assert "It was known and managed until 1 Dec 2026" in words_of(yard.open("farrier"))
    assert "Red flag" in words_of(yard.browser("farrier").get("/"))
    assert "Not now" in words_of(yard.open("farrier", "/plans/new"))
    seen = {"about": "comfort", "words": "Level in walk"}
    yard.done("farrier", "/observations/new", "/observations", seen)
    yard.done("vet", f"{path}/new", path, {**managed, "until": "2026-12-20"})
    assert "Review plan 1" in words_of(yard.open("vet"))
    yard.done("vet", f"{path}/new", path, {"answer": "resolved", "reason": "Grown out"})
    clock.move(days=30)
    yard.browsers.clear()
    page = words_of(yard.open("vet"))
    assert "Known and managed until" not in page.partition("Timeline")[0]
    assert "Answer the red flag" not in page


def test_a_case_is_closed_with_its_outcome_and_opened_again(yard):
    yard.done("vet", "/closures/new", "/closures", {"outcome": "goals_met", "words": "Sound"})
    assert "Closed" in words_of(yard.open("vet"))
    assert "Not now" in words_of(yard.open("vet", "/limits/new"))
    yard.done("vet", "/reopenings/new", "/reopenings", {"words": "Lame again"})
    assert "Lame again" in words_of(yard.open("farrier"))


def test_what_happened_earlier_says_so(yard, clock):
    seen = {"about": "landing", "words": "Toe first", "happened_on": "2026-11-01"}
    yard.done("farrier", "/observations/new", "/observations", seen)
    page = words_of(yard.open("vet"))
    assert "entered later" in page
    assert page.index("1 Nov 2026") > page.index("opened the case")
    assert clock.now == NOW


def test_ids_of_another_case_are_not_found(app, database, yard):
    yard.limit(measure="sole_depth_tip_mm", at_least="10")
    yard.done("owner", "/red-flags/new", "/red-flags", {"sign": "foal_lame"})
    page = yard.open("vet").text
    limit = page.split("/withdrawals/new")[0].rsplit("/", 1)[1]
    flag = page.split("/answers/new")[0].rsplit("/", 1)[1]
    with database.transaction() as session:
        other = a_case(session, yard.cast)
    vet = yard.browser("vet")
    before = yard.rows()
    for path, sent in (
        (f"limits/{limit}/withdrawals", {"reason": "x"}),
        (f"red-flags/{flag}/answers", {"answer": "resolved", "reason": "x"}),
    ):
        assert vet.get(f"/cases/{other}/{path}/new").status_code == 404
        assert vet.post(f"/cases/{other}/{path}", sent).status_code == 404
    replacing = {**GOOD["/limits"], "replaces_id": limit}
    assert vet.post(f"/cases/{other}/limits", replacing).status_code == 404
    assert yard.rows() == before


def test_the_limit_form_writes_units_as_signs(yard):
    page = yard.open("vet", "/limits/new").text
    # ISO 80000-1: the signs of degree and per cent
    for option in ("Palmar angle (°)", "Share behind the centre (%)", "(mm)"):
        assert option in page
    assert not any(f"({unit})" in page for unit in ("deg", "percent", "ratio", ""))
