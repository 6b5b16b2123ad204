"""The window of plans that would meet every limit, asked for while a plan is written."""

import gzip
import html
import json
import re
from concurrent.futures import ThreadPoolExecutor

import pytest

from referral.core.rules.finding import CaseLimit
from referral.plans import window_views
from tests.web.yard import PLAN, a_yard, words_of

FLAT = {"LF-wedge_deg": "0", "LF-toe_trim_mm": "0"}
NUMBERS = {
    "limbs": {
        "LF": {
            "toe_trim_mm": 4, "heel_trim_mm": 0, "category": "straight_bar", "material": "steel",
            "thickness_mm": 10, "width_mm": 134, "length_mm": 146, "breakover_setback_mm": 20,
            "heel_extension_mm": 8, "wedge_deg": 3.0, "attachment": "nails", "nail_count": 6,
            "interval_weeks": 5,
        }
    },
    "fit_on": PLAN["fit_on"], "recheck_owner": "vet", "recheck_on": "2026-12-30",
}  # fmt: skip
"""The plan of the form as JSON."""


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def drawn(yard, who="farrier", **changed):
    """Ask as the form does: its own fields, drawn."""
    return ask(yard, who, draw="yes", **changed)


def ask(yard, who="farrier", **changed):
    return yard.browser(who).post("/api/window", {**PLAN, "case": yard.number, **changed})


def ask_json(yard, who="farrier", headers=None, **changed):
    browser = yard.browser(who)
    return browser.client.post(
        "/api/window",
        json={"case": yard.number, **NUMBERS, **changed},
        base_url=browser.base_url,
        headers={"X-CSRF-Token": browser.token, **(headers or {})},
    )


def limb_of(answer):
    assert answer.status_code == 200, answer.text
    (limb,) = answer.json["limbs"]
    return limb


def said_in(answer):
    """Return what the drawn window says, in one line."""
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", limb_of(answer)["drawn"]).split()))


def taken(answer):
    said = re.search(r"data-take='([^']*)'", limb_of(answer)["drawn"])
    return json.loads(html.unescape(said[1])) if said else None


def test_what_would_meet_the_limits_is_drawn_and_told_for_each_wedge(yard):
    answer = drawn(yard)
    page = limb_of(answer)["drawn"]
    assert page.count("<svg") >= 1
    said = said_in(answer)
    assert "limits tested" in said
    assert "Off the heels" in said
    assert "mm off the toe" in page
    assert 'role="img"' in page


def test_numbers_and_the_forms_own_fields_get_one_answer(yard):
    by_form, by_json = limb_of(ask(yard)), limb_of(ask_json(yard))
    assert by_form == by_json
    assert by_form["limb"] == "LF"
    assert by_form["feasible"] is True
    assert [each["wedge_deg"] for each in by_form["wedges"]] == [0, 1, 2, 3, 4, 5]
    assert len(by_form["tested"]) > 3
    assert any("palmar angle" in each.lower() for each in by_form["tested"])
    assert "drawn" not in by_form
    assert "wedges" not in limb_of(drawn(yard))


# The shoelace formula: the outline goes round as many cells of 0.25 mm as there are plans.
def test_each_outline_encloses_its_area_and_its_ranges(yard):
    several = [each for each in limb_of(ask(yard))["wedges"] if each["plans"]]
    assert several
    for wedge in several:
        rings = wedge["outline_mm"]
        assert sum(map(shoelace, rings)) == pytest.approx(wedge["plans"] * 0.25**2)
        assert wedge["area_mm2"] == pytest.approx(wedge["plans"] * 0.25**2)
        heels = [heel for ring in rings for heel, _toe in ring]
        low, high = wedge["heel_trim_mm"]
        assert (min(heels), max(heels)) == (low - 0.125, high + 0.125)
        assert {each["end"] for each in wedge["binding"]} == {"least", "most"}


def shoelace(ring):
    pairs = zip(ring, [*ring[1:], ring[0]], strict=True)
    return sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs) / 2


def test_the_nearest_plan_taken_breaks_no_limit(yard):
    # the vet's limit: at least 3 degrees after fitting; this plan has no wedge and misses it
    answer = drawn(yard, **FLAT)
    fields = taken(answer)
    assert fields is not None, said_in(answer)
    assert fields == limb_of(answer)["nearest"]["fields"]
    again = drawn(yard, **{**FLAT, **fields})
    assert "This plan meets every limit" in said_in(again)
    assert limb_of(again)["plan_inside"] is True
    assert taken(again) is None
    form = {**PLAN, **FLAT, **fields}
    judged = words_of(yard.browser("farrier").post(f"{yard.home}/plan-previews", form))
    assert "Outside Breach" not in judged


def test_limits_that_contradict_each_other_are_named_before_the_farrier_is_blamed(yard):
    yard.limit(measure="dorsal_wall_angle_deg", at_most="50.5")
    answer = drawn(yard)
    said = said_in(answer)
    assert "These limits cannot all be met together" in said
    # 3 degrees from 1.5 want the hoof turned by 1.5 and U more, from 47 to 50.5 it may turn by
    # 3.5 and U less; U is about 1.7 (0.4 of the reading, 1.15 mm a trim end, 0.29 of the wedge)
    told = said.partition("cannot all be met")[2].lower()
    assert "palmar angle at least 3°" in told
    assert "dorsal wall angle at most 50.5°" in told
    assert len(limb_of(answer)["conflict"]) == 2


def test_a_limit_that_cannot_be_tested_leaves_it_open(yard):
    yard.limit(measure="founder_distance_mm", at_most="5")
    answer = drawn(yard)
    said = said_in(answer)
    assert "What must be met cannot all be checked" in said
    assert "could not be tested" in said
    assert limb_of(answer)["feasible"] is None


def test_nothing_is_stored_and_faults_stand_at_their_fields(yard):
    before = yard.rows()
    assert ask(yard).status_code == 200
    answer = ask(yard, **{"LF-toe_trim_mm": "a lot"})
    assert answer.status_code == 422
    assert answer.content_type == "application/problem+json"
    assert "Write a number" in answer.json["errors"]["LF-toe_trim_mm"][0]
    assert yard.rows() == before


WRONG = [
    ({"limbs": {"LF": {"toe_trim_mm": "a lot"}}}, "limbs.LF.toe_trim_mm"),
    ({"limbs": {"LF": {"toe_trim_mm": 10**400}}}, "limbs.LF.toe_trim_mm"),
    ({"limbs": {"LF": {"toe_trim_mm": float("nan")}}}, "limbs.LF.toe_trim_mm"),
    ({"limbs": {"LF": {"toe_length": 3}}}, "limbs.LF.toe_length"),
    ({"limbs": {"LF": [4]}}, "limbs.LF"),
    ({"limbs": {"RF": {}}}, "limbs.RF"),
    ({"limbs": {}}, "limbs"),
    ({"case": "1"}, "case"),
    ({"case": 10**30}, "case"),
    ({"horse": "Bramble"}, "horse"),
    ({"fit_on": "soon"}, "fit_on"),
]


@pytest.mark.parametrize(("changed", "at"), WRONG)
def test_json_is_taken_strictly_and_each_fault_has_its_path(yard, changed, at):
    answer = ask_json(yard, **changed)
    assert answer.status_code == 422, answer.text
    assert list(answer.json["errors"]) == [at]


def test_a_body_that_is_no_json_is_said_to_be_unreadable(yard):
    browser = yard.browser("farrier")
    headers = {"X-CSRF-Token": browser.token, "Content-Type": "application/json"}
    answer = browser.client.post(
        "/api/window", data="{", base_url=browser.base_url, headers=headers
    )
    assert answer.status_code == 400
    assert answer.content_type == "application/problem+json"


def test_who_may_ask(yard):
    assert drawn(yard, "vet").status_code == 200
    assert drawn(yard, "owner").status_code == 403
    assert drawn(yard, "other_farrier").status_code == 404
    assert ask_json(yard, "other_farrier").status_code == 404
    missing = ask_json(yard, case=4711)
    assert (missing.status_code, missing.json) == (404, ask_json(yard, "other_vet").json)
    assert ask_json(yard, headers={"X-CSRF-Token": "0" * 64}).status_code == 403
    assert ask_json(yard, headers={"Origin": "http://elsewhere.example"}).status_code == 403


def test_a_limit_of_another_limb_is_left_out(yard):
    assert CaseLimit("palmar_angle_deg", "now", "must", at_least=3).limb is None
    before = limb_of(ask(yard))
    yard.limit(measure="palmar_angle_deg", at_least="30", limb="RF")
    assert limb_of(ask(yard)) == before


# RFC 9110, 8.4 and 12.5.3: a coding is used only where the asker takes it.
def test_an_answer_is_packed_for_a_slow_line_and_is_small(yard):
    browser = yard.browser("farrier")
    sent = {**PLAN, "case": yard.number, "draw": "yes"}
    packed = browser.post("/api/window", sent, {"Accept-Encoding": "gzip"})
    assert packed.content_encoding == "gzip"
    assert "Accept-Encoding" in packed.vary
    plain = browser.post("/api/window", sent)
    assert plain.content_encoding is None
    assert gzip.decompress(packed.data) == plain.data
    assert len(packed.data) < 8_000
    assert len(plain.data) < 40_000


def test_a_person_asks_one_question_at_a_time_and_nobody_else_waits_for_it(yard, monkeypatch):
    answer, beside = window_views.limb_windows, []
    for who in ("farrier", "vet"):
        yard.browser(who)

    def meanwhile(*given):
        monkeypatch.setattr(window_views, "limb_windows", answer)
        with ThreadPoolExecutor() as others:
            asked = others.map(lambda who: ask(yard, who).status_code, ("farrier", "vet"))
            beside.extend(asked)
        return answer(*given)

    monkeypatch.setattr(window_views, "limb_windows", meanwhile)
    assert ask(yard).status_code == 200
    assert beside == [429, 200]
    assert ask(yard).status_code == 200


def test_a_question_that_fails_leaves_the_next_its_turn(yard):
    assert ask(yard, **{"LF-toe_trim_mm": "a lot"}).status_code == 422
    assert ask(yard).status_code == 200
