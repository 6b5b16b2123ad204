"""A caution that vet and farrier acknowledged stays folded on later plans while nothing changes."""

import re

import pytest
from sqlalchemy import select

from referral.plans.cautions import AcknowledgeCautions, acknowledge_cautions, open_of
from referral.plans.models import JudgementRow
from referral.plans.summaries import well_said
from tests.web.signing import at, browser_of, story_in
from tests.web.yard import PLAN, a_yard, words_of

QUIET = "acknowledged by both sides, unchanged since"
ASK = "Acknowledge cautions, so that they stay folded"
TICK = re.compile(r'name="findings" value="([0-9a-f-]{36})"')
# wide apart from what the shipped rules allow, and no breach: it is a should of the vet's
LIMIT = {"measure": "breakover_distance_mm", "at_most": "5", "strength": "should"}


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    yard.limit(**LIMIT)
    yard.submit()
    return yard


def ticks_of(yard, who, n=1, title="breakover"):
    """Return what may be ticked whose title has this word."""
    page = yard.open(who, f"/plans/{n}").text
    labels = page.split('name="findings" value="')[1:]
    found = [each[:36] for each in labels if title in each.partition("</label>")[0].lower()]
    assert set(found) <= set(TICK.findall(page))
    return found


def acknowledge(yard, who, n=1, reason="It is as short as this wall lets it be", **changed):
    typed = {"findings": ticks_of(yard, who, n), "reason": reason, **changed}
    return yard.send(who, f"/plans/{n}", f"/plans/{n}/cautions", typed)


def folded(yard, n, who="vet"):
    """Return what stands in the fold of acknowledged cautions, or nothing."""
    page = words_of(yard.open(who, f"/plans/{n}"))
    return page.partition(QUIET)[2].partition("Also checked")[0] if QUIET in page else ""


def test_both_sides_acknowledge_and_the_next_plan_is_quieter(yard):
    assert ASK in words_of(yard.open("vet", "/plans/1"))
    assert acknowledge(yard, "vet").status_code == 303
    assert folded(yard, 1) == ""
    assert "Acknowledged by the vet" in words_of(yard.open("farrier", "/plans/1"))
    said = acknowledge(yard, "farrier", reason="The shoe cannot go farther back")
    assert said.status_code == 303
    yard.submit()
    told = folded(yard, 2)
    assert "Vet: It is as short as this wall lets it be" in told
    assert "Farrier: The shoe cannot go farther back" in told
    assert "limit on breakover distance" in told.lower()
    assert ticks_of(yard, "vet", 2) == []
    assert QUIET in words_of(yard.open("owner", "/plans/2"))


def test_it_comes_back_when_it_gets_worse_or_its_limit_changes(yard):
    for who in ("vet", "farrier"):
        assert acknowledge(yard, who).status_code == 303
    # 10 mm less setback put the breakover 10 mm farther out, far more than its U
    yard.submit(**{"LF-breakover_setback_mm": "10"})
    assert "limit on breakover" not in folded(yard, 2)
    assert (
        "breakover" in words_of(yard.open("vet", "/plans/2")).partition("Also checked")[0].lower()
    )
    yard.submit()
    assert "limit on breakover" in folded(yard, 3)
    form = yard.open("vet", "/limits/new").text
    (mine,) = re.findall(r'<option value="([0-9a-f-]{36})"[^>]*>[^<]*[Bb]reakover', form)
    yard.limit(**{**LIMIT, "at_most": "6", "replaces_id": mine})
    yard.submit()
    assert "limit on breakover" not in folded(yard, 4)


def summary_on(page):
    return re.search(r'<p class="summary"><span>([^<]*)', page.text)[1]


def counted(summary, what):
    """Return how many of something a summary counts."""
    found = re.search(rf"(\d+) {what}", summary)
    return int(found[1]) if found else 0


def test_the_summary_counts_what_is_acknowledged_apart(yard):
    path = f"{yard.home}/plan-previews"
    before = summary_on(yard.open("vet", "/plans/1"))
    acknowledge(yard, "vet")
    assert summary_on(yard.open("vet", "/plans/1")) == before
    acknowledge(yard, "farrier")
    yard.submit()
    for page in (yard.open("farrier", "/plans/2"), yard.browser("farrier").post(path, PLAN)):
        after = summary_on(page)
        quiet = counted(after, "acknowledged")
        assert quiet >= 1
        kinds = ("limits? broken", "notes?", "too close to call")
        gone = sum(counted(before, kind) - counted(after, kind) for kind in kinds)
        assert gone == quiet
        assert counted(after, "limits? broken") < counted(before, "limits? broken")


def listed(yard, n):
    """Return what the case page's list says of a plan."""
    line = yard.open("vet").text.partition(f'/plans/{n}">Plan {n}</a>')[2]
    return line.partition("<br>")[2].partition("</li>")[0]


def test_the_list_of_plans_says_what_the_plans_own_page_says(yard):
    assert listed(yard, 1) == summary_on(yard.open("vet", "/plans/1"))
    acknowledge(yard, "vet")
    assert listed(yard, 1) == summary_on(yard.open("vet", "/plans/1"))
    acknowledge(yard, "farrier")
    yard.submit()
    for n in (1, 2):
        assert listed(yard, n) == summary_on(yard.open("vet", f"/plans/{n}"))
        assert counted(listed(yard, n), "acknowledged") >= 1


def test_a_plan_of_two_feet_says_of_each_what_is_its(app, database):
    yard = a_yard(app, database)
    yard.refer()
    yard.readings(limb="RF")
    both = {"limbs": ["LF", "RF"], "urgency": "routine", "goals": "Both fores alike"}
    yard.done("vet", "/referrals/new", "/referrals", both)
    yard.done("farrier", "", "/acknowledgements", {})
    right = {key.replace("LF-", "RF-"): value for key, value in PLAN.items() if "LF-" in key}
    yard.submit(**right)
    sentence = r"[^.:]+(: [^.:]+)?\."  # a reason follows a colon
    for said in (listed(yard, 1), summary_on(yard.open("vet", "/plans/1"))):
        assert re.fullmatch(f"LF: {sentence} RF: {sentence}", said), said


def test_the_preview_is_as_quiet_as_the_plan_will_be(yard):
    for who in ("vet", "farrier"):
        assert acknowledge(yard, who).status_code == 303
    path = f"{yard.home}/plan-previews"
    assert QUIET in words_of(yard.browser("farrier").post(path, PLAN))


def test_a_breach_cannot_be_ticked(yard):
    yard.limit(measure="palmar_angle_deg", at_least="12")
    yard.submit()
    page = yard.open("vet", "/plans/2")
    assert "Breach" in words_of(page)
    assert ticks_of(yard, "vet", 2, "palmar angle, after fit") == []


def test_what_is_not_ticked_or_not_said_is_refused_and_nothing_is_kept(yard):
    before = yard.rows()
    nothing = acknowledge(yard, "vet", findings=[])
    assert nothing.status_code == 422
    assert "Tick the cautions" in words_of(nothing)
    assert "as short as this wall" in nothing.text
    silent = acknowledge(yard, "vet", reason=" ")
    assert silent.status_code == 422
    assert "Say why" in words_of(silent)
    strange = acknowledge(yard, "vet", findings=["00000000-0000-7000-8000-000000000000"])
    assert strange.status_code == 422
    assert "Only cautions of this plan" in words_of(strange)
    assert yard.rows() == before


def test_it_stands_in_the_timeline_with_its_reason(yard):
    acknowledge(yard, "vet")
    said = words_of(yard.open("farrier"))
    assert "acknowledged cautions of plan 1: LF" in said
    assert "It is as short as this wall lets it be" in said


def test_a_caution_is_acknowledged_once_by_each_side(yard):
    ticked = ticks_of(yard, "vet")
    assert acknowledge(yard, "vet").status_code == 303
    again = acknowledge(yard, "vet", findings=ticked)
    assert again.status_code == 422


def test_neither_owner_nor_apprentice_acknowledges(yard):
    for who in ("owner", "apprentice"):
        assert ASK not in words_of(yard.open(who, "/plans/1"))


def test_a_resets_page_and_lists_fold_and_count_as_the_plans_do(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    plan = story.submit()
    with story.database.transaction() as session:
        open_ones = open_of(plan.findings, (), "vet")
        assert open_ones
        chosen = frozenset(each.finding_id for each in open_ones)
        given = AcknowledgeCautions(1, chosen, "It is what this foot allows", story.today, None)
        for who in ("vet", "farrier"):
            acknowledge_cautions(session, story.access(session, who), given, story.now)
    story.agree(1)
    story.fit(1)
    at(story, clock)
    vet = browser_of(app, story, "vet")
    page = vet.get("/cases/1/resets/1")
    told = words_of(page).partition(QUIET)[2]
    assert "Vet: It is what this foot allows" in told
    said = summary_on(page)
    assert re.search(r"\d+ acknowledged", said)
    for path in ("/cases/1", "/cases/1/history"):
        resets = vet.get(path).text.partition('id="resets"')[2] or vet.get(path).text
        assert said in resets


@pytest.mark.parametrize(
    ("stored", "said"),
    [
        ("2 limits broken", "2 limits broken"),
        ("LF: 2 limits broken RF: 3 checked", "LF: 2 limits broken. RF: 3 checked."),
        ("LF: 2 limits broken. RF: 3 checked.", "LF: 2 limits broken. RF: 3 checked."),
        ("LF: a LH: b RF: c RH: d", "LF: a. LH: b. RF: c. RH: d."),
    ],
)
def test_a_sentence_that_was_kept_without_stops_is_told_with_them(stored, said):
    assert well_said(stored) == said


def test_lists_tell_an_old_sentence_with_stops_and_leave_its_row(yard):
    with yard.database.transaction() as session:
        session.scalars(select(JudgementRow)).one().summary = "LF: 1 broken RF: 3 checked"
    for path in ("", "/history"):
        assert "LF: 1 broken. RF: 3 checked." in words_of(yard.open("vet", path))
    with yard.database.reading() as session:
        assert session.scalars(select(JudgementRow.summary)).one() == "LF: 1 broken RF: 3 checked"
