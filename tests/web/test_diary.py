"""The diary, booking a visit by the yard's clock, and the week's sheet, through their pages."""

import pytest

from referral.cases.models import CaseMember
from tests.factories import NOW
from tests.web.signing import story_in
from tests.web.yard import a_yard, words_of


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def booked(yard, who="farrier", **changed):
    visit = {"comes": "farrier", "visit_on": "2026-11-27", "visit_at": "09:30", **changed}
    return yard.send(who, "/visits/new", "/visits", visit)


def test_a_booked_visit_stands_in_the_diary_and_on_the_weeks_sheet(yard):
    yard.refer()
    yard.submit()
    assert booked(yard, words="Gate by the oak, dog is loose").status_code == 303
    page = words_of(yard.browser("vet").get("/diary"))
    assert "Marrow 27 Nov 2026, 09:30 , Top barn" in page
    week = words_of(yard.browser("farrier").get("/diary/week"))
    for said in (
        "Friday 27 Nov 2026 09:30 Top barn", "Marrow", "Gate by the oak", "+44 20 7946 0000",
        "LF plan 1, not agreed yet: off the toe 4 mm", "Access checked",
    ):  # fmt: skip
        assert said in week
    assert "09:30" not in words_of(yard.browser("farrier").get("/diary/week?from=2026-12-01"))
    timeline = words_of(yard.open("owner")).replace("&#39;", "'")
    assert "booked the farrier's visit: 27 Nov 2026 09:30" in timeline


def test_a_visit_booked_again_takes_the_place_of_the_one_before_and_can_be_called_off(yard):
    booked(yard)
    booked(yard, visit_at="14:00")
    page = words_of(yard.browser("farrier").get("/diary"))
    assert "14:00" in page
    assert "09:30" not in page
    assert booked(yard, visit_on="", visit_at="").status_code == 303
    assert "Booked visits" not in words_of(yard.browser("farrier").get("/diary"))
    assert "called off" in words_of(yard.open("farrier"))


# The clocks of Europe/London change on 2027-03-28 and 2027-10-31 at 01:00 UTC (IANA tz database).
def test_an_hour_that_is_left_out_or_comes_twice_is_asked_about(yard):
    missing = booked(yard, visit_on="2027-03-28", visit_at="01:30")
    assert missing.status_code == 422
    assert "this time is left out" in words_of(missing)
    twice = booked(yard, visit_on="2027-10-31", visit_at="01:30")
    assert twice.status_code == 422
    assert 'name="hour"' in twice.text
    assert 'value="2027-10-31"' in twice.text
    assert booked(yard, visit_on="2027-10-31", visit_at="01:30", hour="second").status_code == 303


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [("visit_on", "2026-11-24", "still to come"), ("visit_at", "", "Give a time"),
     ("visit_at", "25:00", "Not a valid time"), ("comes", "owner", "Must be one of")],
)  # fmt: skip
def test_a_visit_that_cannot_be_is_refused_beside_its_field(yard, field, typed, said):
    before = yard.rows()
    answer = booked(yard, **{field: typed})
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert yard.rows() == before


@pytest.mark.parametrize("said", ["soon", "2026-02-30", "1066-01-01", "9999-12-31"])
def test_a_week_that_is_none_is_not_there(yard, said):
    assert yard.browser("farrier").get(f"/diary/week?from={said}").status_code == 404


def test_a_check_after_fitting_that_nobody_made_is_shown_to_a_named_person(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    story.fit(1)
    story.countersign(1)
    yard = yard_of(app, story)
    clock.now = story.now
    clock.move(days=2)
    owner = words_of(yard("owner").get("/diary"))
    assert "Check after fitting" in owner.partition("Waiting on you")[2]
    for who in ("vet", "farrier"):
        assert "Check after fitting, owner: by" in words_of(yard(who).get("/"))
    assert "Due: check after fitting, owner, 29 Nov 2026" in words_of(yard("owner").get("/"))
    clock.move(days=2)
    # fitted on 26 Nov, so to be looked at until the 29th (24-72 h); the reset itself is not due yet
    assert "Check after fitting, owner: 1 day late, 29 Nov 2026" in words_of(yard("vet").get("/"))
    mine = words_of(yard("owner").get("/"))
    assert "Overdue by 1 day: check after fitting, owner, 29 Nov 2026" in mine
    assert "Next reset 31 Dec 2026" in mine
    assert mine.count("Overdue") == 1
    case = words_of(yard("vet").get("/cases/1"))
    assert "Overdue: Owner Check after fitting By 29 Nov 2026" in case
    assert "Nothing to do until the next date" not in case
    late = words_of(yard("owner").get("/diary")).partition("Waiting on you")[0]
    assert "Check after fitting" in late
    assert f"{story.cast.owner.name}, owner" in late
    clock.move(days=60)
    assert "Overdue by 61 days: check after fitting" in words_of(yard("owner").get("/"))
    alert = words_of(yard("farrier").get("/diary")).partition("Waiting on you")[0]
    for said in ("Next reset", "Recheck", f"{story.cast.vet.name}, vet", "days late"):
        assert said in alert
    week = words_of(yard("farrier").get("/diary/week"))
    left_over = week.partition("Overdue from before")[2].partition("Monday")[0]
    assert "Due 31 Dec 2026: next reset, " in left_over
    assert "Due 29 Nov 2026: check after fitting" in left_over
    for other in ("2026-12-28", "2027-03-01"):
        page = words_of(yard("farrier").get(f"/diary/week?from={other}"))
        assert "Overdue from before" not in page


def test_the_weeks_sheet_prints_no_plan_that_was_fitted_and_stops_for_a_red_flag(
    app, tmp_path, clock
):
    story = story_in(app, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    farrier = yard_of(app, story)("farrier")
    with story.database.reading() as session:
        home = f"/cases/{story.access(session, 'farrier').number}"

    def sheet_after_booking():
        farrier.get(f"{home}/visits/new")
        visit = {"comes": "farrier", "visit_on": "2026-11-27", "visit_at": "09:30"}
        assert farrier.post(f"{home}/visits", visit).status_code == 303
        return words_of(farrier.get("/diary/week?from=2026-11-27"))

    assert "LF plan 1: off the" in sheet_after_booking()
    story.fit(1)
    fitted = sheet_after_booking()
    assert "plan 1" not in fitted
    assert "There is no plan yet for this visit." in fitted
    story.countersign(1)
    story.submit()
    assert "LF plan 2, not agreed yet: off the" in sheet_after_booking()
    flag = {"sign": "pain_after_shoeing"}
    farrier.get(f"{home}/red-flags/new")
    assert farrier.post(f"{home}/red-flags", flag).status_code == 303
    assert "A red flag is live: planned work pauses. Ring the vet first." in sheet_after_booking()


def test_a_coordinator_sees_the_dates_of_the_office_and_no_way_into_its_cases(yard):
    booked(yard, words="Gate by the oak")
    with yard.database.transaction() as session:
        for row in session.query(CaseMember).filter_by(role="coordinator"):
            row.until = NOW
    page = yard.browser("coordinator").get("/diary")
    assert "Marrow" in words_of(page)
    assert "Gate by the oak" not in page.text
    assert "/cases/1" not in page.text
    assert yard.open("coordinator").status_code == 404
    for stranger in ("other_vet", "other_farrier"):
        assert "Marrow" not in yard.browser(stranger).get("/diary").text


def yard_of(app, story):
    """Return a function that signs somebody in anew, whatever the clock says."""
    from tests.web.browsing import Browser

    with story.database.reading() as session:
        emails = {
            who: session.merge(getattr(story.cast, who), load=False).email
            for who in ("vet", "farrier", "owner")
        }

    def fresh(who):
        browser = Browser(app)
        assert browser.sign_in(emails[who]).status_code == 303
        return browser

    return fresh
