"""A plan through its pages: written, previewed, sent back, changed by the vet, stale, agreed on."""

import re

import pytest

from tests.factories import a_case
from tests.web.yard import PLAN, a_yard, hidden_in, words_of

SEEN = re.compile(r'name="seen_sha256" value="([0-9a-f]{64})"')


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def send_back(yard, n, **typed):
    seen = SEEN.search(yard.open("vet", f"/plans/{n}").text)[1]
    path = f"/plans/{n}/returns"
    return yard.send("vet", f"/plans/{n}", path, {"seen_sha256": seen, **typed})


def test_the_preview_and_the_submitted_plan_say_the_same(yard):
    before = yard.rows()
    preview = yard.send("farrier", "/plans/new", "/plans", {"words": " "})
    assert preview.status_code in {303, 422}
    path = f"{yard.home}/plan-previews"
    answer = yard.browser("farrier").post(path, PLAN)
    assert answer.status_code == 200
    said = words_of(answer)
    assert "Palmar angle" in said
    assert yard.rows()["plan"] - before["plan"] == (preview.status_code == 303)
    page = words_of(yard.browser("farrier").get(yard.submit()))
    assert re.search(r"\d limits? broken|Nothing|too close to call", said)[0] in page


def test_a_plan_is_sent_back_and_agreed_to_be_better_the_second_time(yard):
    assert yard.submit() == f"{yard.home}/plans/1"
    assert "Agree, change or send back" in words_of(yard.open("vet", "/plans/1"))
    assert "Agree" not in words_of(yard.open("farrier", "/plans/1")).split("Cautions")[0]
    silent = send_back(yard, 1, words="")
    assert silent.status_code == 422
    assert send_back(yard, 1, words="More off the toe, please").status_code == 303
    page = words_of(yard.open("farrier"))
    assert "More off the toe, please" in page
    assert "Write the plan" in page
    form = yard.open("farrier", "/plans/new")
    assert "Filled with plan 1" in form.text
    assert 'value="146"' in form.text
    assert yard.submit(**{"LF-toe_trim_mm": "5,5"}) == f"{yard.home}/plans/2"
    shown = words_of(yard.open("owner", "/plans/2"))
    assert "Off the toe 5.5 mm" in shown
    assert "A newer plan has taken its place" in words_of(yard.open("vet", "/plans/1"))


def test_a_plan_that_breaks_a_limit_is_saved_only_with_its_reason(yard):
    before = yard.rows()
    flat = {**PLAN, "LF-toe_trim_mm": "0", "LF-heel_trim_mm": "8", "LF-wedge_deg": ""}
    answer = yard.send("farrier", "/plans/new", "/plans", {**flat, "words": ""})
    assert answer.status_code == 422
    assert "write why you propose it all the same" in words_of(answer)
    assert 'id="words-fault"' in answer.text
    assert 'name="LF-heel_trim_mm" type="text"' in answer.text
    assert re.search(r'name="LF-heel_trim_mm"[^>]*value="8"', answer.text)
    assert yard.rows() == before
    yard.done("farrier", "/plans/new", "/plans", flat)
    page = words_of(yard.open("vet", "/plans/1"))
    assert "limit broken" in page or "limits broken" in page
    assert "Waiver: why you agree all the same" in page


WRONG = [
    ("LF-toe_trim_mm", "300", "Between 0 and 30 mm."),
    ("LF-toe_trim_mm", "-2", "Between 0 and 30 mm."),
    ("LF-heel_trim_mm", "two", "Write a number"),
    ("LF-heel_trim_mm", "1,250", "which is it?"),
    ("LF-heel_trim_mm", "NaN", "Write a number"),
    ("LF-wedge_deg", "80", "Between"),
    ("LF-category", "winged", "Must be one of"),
    ("LF-nail_count", "7.5", "integer"),
    ("LF-interval_weeks", "52", "Between 0.5 and 16 weeks."),
    ("fit_on", "soon", "year-month-day"),
    ("recheck_owner", "groom", "Must be one of"),
]


@pytest.mark.parametrize(("field", "typed", "said"), WRONG)
def test_impossible_numbers_are_refused_beside_their_field_and_stay_typed(yard, field, typed, said):
    before = yard.rows()
    sent = {**PLAN, "words": "Because of the crack", field: typed}
    answer = yard.send("farrier", "/plans/new", "/plans", sent)
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert "Because of the crack" in answer.text
    assert 'value="146"' in answer.text
    assert yard.rows() == before
    live = yard.browser("farrier").post(f"{yard.home}/plan-previews", sent)
    assert live.status_code == 422
    assert said in words_of(live)
    assert yard.rows() == before


def test_faults_of_the_plan_and_of_its_limbs_are_told_together(yard):
    sent = {**PLAN, "fit_on": "soon", "LF-toe_trim_mm": "x"}
    answer = yard.send("farrier", "/plans/new", "/plans", sent)
    assert 'id="fit_on-fault"' in answer.text
    assert 'id="LF-toe_trim_mm-fault"' in answer.text


# A decimal point and a decimal comma mean the same number.
@pytest.mark.parametrize("typed", ["4.5", "4,5", " 4.50 ", "+4,5"])
def test_a_decimal_comma_is_a_decimal_point(yard, typed):
    yard.submit(**{"LF-toe_trim_mm": typed})
    assert "Off the toe 4.5 mm" in words_of(yard.open("vet", "/plans/1"))


def test_a_plan_sent_twice_is_one_plan(yard):
    path = f"{yard.home}/plans"
    sent = {**hidden_in(yard.open("farrier", "/plans/new"), path), **PLAN}
    farrier = yard.browser("farrier")
    first, second = farrier.post(path, sent), farrier.post(path, sent)
    assert (first.status_code, second.status_code) == (303, 303)
    assert first.location == second.location
    assert yard.rows()["plan"] == 1
    other = farrier.post(path, {**sent, "LF-toe_trim_mm": "5.25"})
    assert other.status_code == 409
    assert 'value="5.25"' in other.text
    assert yard.rows()["plan"] == 1


def test_a_plan_on_an_old_page_is_not_saved_over_a_newer_one(yard):
    path = f"{yard.home}/plans"
    hidden = hidden_in(yard.open("farrier", "/plans/new"), path)
    yard.submit()
    late = {**hidden, **PLAN, "LF-toe_trim_mm": "5.25", "words": "Written in the cold"}
    answer = yard.browser("farrier").post(path, late)
    assert answer.status_code == 409
    assert "submitted plan 1" in words_of(answer)
    assert "Written in the cold" in answer.text
    assert 'value="5.25"' in answer.text
    beside = "Yours beside plan 1, which stands now LF Off the toe: 4 mm there, 5.25 mm in yours"
    assert beside in words_of(answer)
    assert words_of(answer).count("in yours") == 1
    assert yard.rows()["plan"] == 1
    again = {**late, **hidden_in(answer, path)}
    assert yard.browser("farrier").post(path, again).location == f"{yard.home}/plans/2"


# That the numbers which differ are named, and only where a plan is beside another: from memory.
def test_numbers_are_compared_only_with_a_plan_that_was_stored_meanwhile(yard):
    yard.submit()
    path = f"{yard.home}/plans"
    hidden = hidden_in(yard.open("farrier", "/plans/new"), path)
    assert send_back(yard, 1, words="Too long at the toe").status_code == 303
    sent = {**hidden, **PLAN, "LF-toe_trim_mm": "5.25"}
    moved = yard.browser("farrier").post(path, sent)
    assert moved.status_code == 409
    assert "Yours beside" not in words_of(moved)
    yard.submit()
    same = yard.browser("farrier").post(path, {**hidden, **PLAN})
    assert same.status_code == 409
    assert "which stands now No number differs; dates and words may." in words_of(same)


def test_a_vets_late_change_is_put_beside_the_plan_that_came_meanwhile(yard):
    yard.submit()
    path = f"{yard.home}/plans/1/changes"
    hidden = hidden_in(yard.open("vet", "/plans/1/changes/new"), path)
    yard.submit(**{"LF-wedge_deg": "2"})
    late = yard.browser("vet").post(path, {**hidden, **PLAN})
    assert late.status_code == 409
    assert "Yours beside plan 2, which stands now LF Wedge: 2° there, 3° in yours" in words_of(late)
    unread = yard.browser("vet").post(path, {**hidden, **PLAN, "LF-toe_trim_mm": "x"})
    assert unread.status_code == 409
    assert "Yours beside" not in words_of(unread)
    assert 'value="x"' in unread.text


def test_a_plan_whose_ground_moved_is_judged_again_before_anybody_agrees(yard, clock):
    yard.submit()
    yard.limit(measure="breakover_distance_mm", at_most="25")
    page = words_of(yard.open("vet", "/plans/1"))
    assert "Judged on other ground" in page
    assert "Agree, and look at the sheet to sign" not in page
    clock.move(minutes=1)
    yard.done("vet", "/plans/1", "/plans/1/judgements", {})
    page = words_of(yard.open("vet", "/plans/1"))
    assert "Judged on other ground" not in page
    assert "Agree, and look at the sheet to sign" in page
    assert "had plan 1 judged again" in words_of(yard.open("farrier"))


def test_the_vets_changes_are_a_new_plan_that_the_farrier_accepts_or_answers(yard):
    yard.submit()
    form = yard.open("vet", "/plans/1/changes/new")
    assert "Change the plan" in words_of(form)
    changed = {**PLAN, "LF-toe_trim_mm": "5"}
    yard.done("vet", "/plans/1/changes/new", "/plans/1/changes", changed)
    assert "Answer the vet" in words_of(yard.open("farrier"))
    answering = words_of(yard.open("farrier", "/plans/2"))
    assert "What the vet changed in plan 1 LF Off the toe: 4 mm before, now 5 mm" in answering
    assert "What the vet changed" not in words_of(yard.open("farrier", "/plans/1"))
    assert yard.open("vet", "/plans/1/changes/new").status_code == 409
    yard.done("farrier", "/plans/2", "/plans/2/acceptances", {})
    assert "Agree, and look at the sheet to sign" in words_of(yard.open("vet", "/plans/2"))
    yard.done("vet", "/plans/2/changes/new", "/plans/2/changes", changed)
    assert yard.submit() == f"{yard.home}/plans/4"


def test_a_return_on_an_old_plan_is_refused_with_its_words(yard):
    yard.submit()
    seen = SEEN.search(yard.open("vet", "/plans/1").text)[1]
    hidden = hidden_in(yard.open("vet", "/plans/1"), f"{yard.home}/plans/1/returns")
    yard.submit(**{"LF-toe_trim_mm": "5"})
    before = yard.rows()
    sent = {**hidden, "seen_sha256": seen, "words": "Too long at the toe"}
    answer = yard.browser("vet").post(f"{yard.home}/plans/1/returns", sent)
    assert answer.status_code == 409
    assert "Plan 1 is not the latest" in words_of(answer)
    assert "submitted plan 2" in words_of(answer)
    assert "Too long at the toe" in answer.text
    assert yard.rows() == before


def test_an_agreement_to_a_plan_that_was_judged_again_is_refused_with_its_reasons(yard):
    yard.submit()
    page = yard.open("vet", "/plans/1")
    path = f"{yard.home}/plans/1/agreements"
    answers = re.findall(r'name="((?:waiver|seen)_[0-9a-f-]+)"', page.text)
    sent = {
        **hidden_in(page, path),
        **dict.fromkeys(answers, "Known, and worth it"),
        "words": "Go on",
    }
    yard.limit(measure="breakover_distance_mm", at_most="25")
    before = yard.rows()
    answer = yard.browser("vet").post(path, sent)
    assert answer.status_code == 409
    assert "judge the plan again first" in words_of(answer)
    assert "set a limit: breakover distance" in words_of(answer)
    assert "Go on" in answer.text
    assert yard.rows() == before


def test_nobody_consents_to_a_plan_that_is_not_agreed(yard):
    yard.submit()
    assert "Not now" in words_of(yard.open("owner", "/plans/1/consents/new"))
    consent = {
        "decision": "given",
        "given_by": "The owner",
        "authority": "owner",
        "how": "on this page",
        "given_on": "2026-11-25",
        "risks": "Loose shoe",
    }
    before = yard.rows()
    path = "/plans/1/consents"
    answer = yard.send("owner", f"{path}/new", path, consent)
    assert answer.status_code in {404, 409}
    early = yard.send("owner", f"{path}/new", path, {**consent, "given_on": "2031-01-01"})
    assert early.status_code == 422
    assert "Loose shoe" in early.text
    assert yard.rows() == before


def test_only_the_owner_answers_on_the_page_itself(yard):
    """Common practice, no source: what a farrier writes down is not the owner's own click."""
    yard.submit()
    path = "/plans/1/consents"
    ways = {who: yard.open(who, f"{path}/new").text for who in ("owner", "farrier", "vet")}
    assert {who for who, page in ways.items() if "On this page" in page} == {"owner"}
    before = yard.rows()
    said = {
        "decision": "given",
        "given_by": "The owner",
        "authority": "owner",
        "how": "on this page",
        "given_on": "2026-11-25",
        "risks": "Loose shoe",
    }
    for who in ("farrier", "vet"):
        answer = yard.send(who, f"{path}/new", path, said)
        assert answer.status_code == 422
        assert "Only the owner, signed in" in words_of(answer)
        assert "Loose shoe" in answer.text
    assert yard.rows() == before


def test_a_plan_needs_a_referral(app, database, yard):
    with database.transaction() as session:
        other = f"/cases/{a_case(session, yard.cast)}"
    farrier = yard.browser("farrier")
    assert "Not now" in words_of(farrier.get(f"{other}/plans/new"))
    for path in ("plans", "plan-previews"):
        answer = farrier.post(f"{other}/{path}", {"words": "Anyway"})
        assert answer.status_code == 422
        assert "no limb" in words_of(answer)


def test_a_plan_of_another_case_is_not_found(database, yard):
    yard.submit()
    with database.transaction() as session:
        other = f"/cases/{a_case(session, yard.cast)}"
    vet, farrier, owner = (yard.browser(who) for who in ("vet", "farrier", "owner"))
    before = yard.rows()
    assert vet.get(f"{other}/plans/1").status_code == 404
    assert vet.get(f"{other}/plans/1/changes/new").status_code == 404
    assert owner.get(f"{other}/plans/1/consents/new").status_code == 404
    assert vet.post(f"{other}/plans/1/judgements").status_code == 404
    assert farrier.post(f"{other}/plans/1/acceptances").status_code == 404
    sent = {"words": "x", "seen_sha256": "0" * 64}
    assert vet.post(f"{other}/plans/1/returns", sent).status_code == 404
    assert vet.get(f"{yard.home}/plans/{2**40}").status_code == 404
    assert yard.rows() == before


@pytest.mark.parametrize("garbage", ["\0", "½", "1e5", "9" * 400, "<b>", "--1", "[1]"])
def test_garbage_in_any_one_field_is_refused_or_harmless(yard, garbage):
    farrier = yard.browser("farrier")
    for field in PLAN:
        answer = farrier.post(f"{yard.home}/plan-previews", {**PLAN, field: garbage})
        assert answer.status_code == (200 if field == "words" and garbage != "\0" else 422), field
        assert "<b>" not in answer.text
