"""What is asked for at every visit, on the pages: the support limb, tetanus, devices, both feet."""

import re

import pytest

from tests.web.signing import browser_of, story_in
from tests.web.yard import TODAY, a_yard, words_of

SUPPORT = "Look at the opposite foot for support-limb laminitis: right fore"
TETANUS = "A puncture: say how the tetanus vaccination stands"


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def answer_path(yard):
    address = yard.open("vet").text.split("/answers/new")[0].rsplit('href="', 1)[1]
    return f"{address.removeprefix(yard.home)}/answers"


def test_the_support_limb_is_asked_for_until_it_was_looked_at(yard):
    flag = {"sign": "not_bearing_weight", "limb": "LF"}
    yard.done("owner", "/red-flags/new", "/red-flags", flag)
    for who in ("vet", "farrier", "owner"):
        page = yard.open(who)
        assert SUPPORT in words_of(page)
        assert 'href="/cases/1/notes/support-limb-checks/new"' in page.text
        assert "support-limb laminitis: RF" in words_of(yard.browser(who).get("/"))
    seen = {"limb": "RF", "found": "quiet", "happened_on": TODAY}
    path = "/notes/support-limb-checks"
    yard.done("owner", f"{path}/new", path, seen)
    assert SUPPORT not in words_of(yard.open("farrier"))
    worse = yard.send("owner", f"{path}/new", path, {**seen, "found": "sinking"})
    assert worse.location == "/cases/1/red-flags/new"


def test_a_puncture_is_not_answered_before_somebody_says_how_tetanus_stands(yard):
    flag = {"sign": "penetrating_object", "limb": "LF"}
    yard.done("owner", "/red-flags/new", "/red-flags", flag)
    assert TETANUS in words_of(yard.open("farrier"))
    path = answer_path(yard)
    answered = {"answer": "resolved", "reason": "Nail out, flushed"}
    refused = yard.send("vet", f"{path}/new", path, answered)
    assert refused.status_code == 422
    assert 'id="tetanus-fault"' in refused.text
    yard.done("vet", f"{path}/new", path, {**answered, "tetanus": "given"})
    page = words_of(yard.open("owner"))
    assert "tetanus: vaccine or antitoxin given now" in page
    assert TETANUS not in page


def test_what_the_farrier_was_told_of_tetanus_is_enough_for_the_answer(yard):
    yard.done("owner", "/red-flags/new", "/red-flags", {"sign": "penetrating_object"})
    path = "/notes/emergencies"
    work = {"limb": "LF", "found": "A nail", "tetanus": "up_to_date", "happened_on": TODAY}
    yard.done("farrier", f"{path}/new", path, work)
    assert TETANUS not in words_of(yard.open("vet"))
    answer = {"answer": "resolved", "reason": "Seen"}
    yard.done("vet", f"{answer_path(yard)}/new", answer_path(yard), answer)


@pytest.mark.parametrize("who", ["vet", "farrier"])
def test_emergency_work_is_recorded_on_a_closed_case_too_and_is_the_vets_to_see(yard, who):
    yard.done("vet", "/closures/new", "/closures", {"outcome": "improved"})
    path = "/notes/emergencies"
    work = {"limb": "LF", "found": "A sprung shoe", "happened_on": TODAY}
    yard.done(who, f"{path}/new", path, work)
    assert "recorded emergency work on LF" in words_of(yard.open("owner"))


def test_the_opposite_foot_is_always_shown(yard):
    yard.refer()
    page = words_of(yard.open("farrier")).partition("Feet, in pairs")[2]
    both = r"LF Long toe, under-run heels last looked at 25 Nov 2026 RF no problem recorded not"
    assert re.search(both, page)
    assert "LH" not in page.partition("Referral")[0]


def test_the_third_reset_in_a_bar_asks_for_a_reason_on_the_case_and_at_the_visit(
    app, tmp_path, clock
):
    story = story_in(app, tmp_path)
    story.refer()
    for n in (1, 2, 3):
        story.submit()
        story.agree(n)
        story.fit(n)
        clock.now = story.now
        page = words_of(browser_of(app, story, "farrier").get("/cases/1"))
        assert ("Renew the reason for the wedge or bar" in page) == (n == 3)
        story.countersign(n)
    clock.now = story.now
    farrier = browser_of(app, story, "farrier")
    form = farrier.get("/cases/1/notes/renewals/new")
    sent = {"limb": "LF", "device": "wedge_and_bar", "words": "Heels still crushed"}
    key = re.search(r'name="idempotency_key" value="([^"]+)"', form.text)[1]
    farrier.post("/cases/1/notes/renewals", {**sent, "idempotency_key": key})
    assert "Renew the reason" not in words_of(farrier.get("/cases/1"))
