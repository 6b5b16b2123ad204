"""A practice's number when it is closed: set by its own people, shown with the vet's own to ring.

Numbers are from 01632 960000 to 960999, which the United Kingdom's regulator keeps for drama.
"""

import json

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.accounts.practices import set_out_of_hours
from referral.cases.ringing import Contact, contacts_of, to_ring
from referral.desk.pages import PersonLine
from referral.errors import Invalid
from referral.sheets.models import SheetProposal
from referral.storage.ids import new_id
from tests.factories import NOW, a_forge, a_practice
from tests.web.signing import at, browser_of, hidden_in, story_in
from tests.web.yard import a_yard, words_of

CLOSED = "01632 960117"
VETS_OWN = "+44 20 7946 0000"
SIGN = {"sign": "not_bearing_weight"}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def page_of(practice_id):
    return f"/account/practices/{practice_id}"


def set_on_page(yard, who, typed, practice_id=None):
    address = page_of(practice_id or yard.cast.practice_id) + "/out-of-hours"
    return yard.browser(who).post(address, {"out_of_hours_phone": typed})


def given(yard, number=CLOSED):
    with yard.database.transaction() as session:
        set_out_of_hours(session, session.get_one(Organisation, yard.cast.practice_id), number)


@pytest.mark.parametrize("who", ["vet", "coordinator"])
def test_the_practices_own_people_set_it_and_take_it_away(yard, who):
    page = page_of(yard.cast.practice_id)
    assert f'href="{page}"' in yard.browser(who).get("/account").text
    assert "only the vet’s own number is shown" in words_of(yard.browser(who).get(page))
    assert set_on_page(yard, who, " 01632  960117 ").location == page
    shown = yard.browser(who).get(page).text
    assert f'value="{CLOSED}"' in shown
    assert "None is recorded" not in shown
    assert set_on_page(yard, who, "").status_code == 303
    assert "None is recorded" in yard.browser(who).get(page).text


@pytest.mark.parametrize("typed", ["ring the yard", "12", "01632 960117 or Ann", "+", "1" * 30])
def test_what_is_no_number_is_refused_and_stays_as_it_was_typed(yard, typed):
    answer = set_on_page(yard, "vet", typed)
    assert answer.status_code == 422
    assert "Write a telephone number" in words_of(answer)
    assert f'value="{typed}"' in answer.text
    assert CLOSED not in yard.open("owner", "/red-flags/new").text


def test_nobody_else_finds_the_page(yard):
    for who in ("farrier", "owner", "apprentice", "other_vet"):
        assert "/account/practices/" + str(yard.cast.practice_id) not in (
            yard.browser(who).get("/account").text
        )
        assert set_on_page(yard, who, CLOSED).status_code == 404
    forge = set_on_page(yard, "farrier", CLOSED, yard.cast.forge_id)
    assert forge.status_code == 404


def test_a_number_longer_than_the_field_is_refused(yard):
    assert set_on_page(yard, "vet", "1 " * 30).status_code == 422


def test_it_stands_beside_the_vets_on_every_page_of_a_red_flag(yard):
    given(yard)
    ring = f'href="tel:{CLOSED.replace(" ", "")}"'
    for who in ("owner", "farrier", "apprentice"):
        form = yard.open(who, "/red-flags/new")
        assert ring in form.text
        said = words_of(form)
        assert said.index(VETS_OWN) < said.index(f"Out of hours: {CLOSED}")
    yard.done("owner", "/red-flags/new", "/red-flags", SIGN)
    for who, path in (("owner", ""), ("farrier", ""), ("vet", ""), ("owner", "/summary")):
        page = yard.open(who, path)
        assert ring in page.text
        assert f"Out of hours: {CLOSED}" in words_of(page)


def test_where_none_is_recorded_there_is_the_vets_number_alone(yard):
    yard.done("owner", "/red-flags/new", "/red-flags", SIGN)
    for path in ("", "/red-flags/new", "/summary"):
        page = yard.open("owner", path)
        assert "Out of hours" not in page.text
        assert VETS_OWN in page.text


def test_the_owners_summary_and_what_was_fitted_have_it(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    given(story)
    story.submit()
    story.agree(1)
    at(story, clock)
    summary = words_of(browser_of(app, story, "owner").get("/cases/1/summary"))
    stop = summary.index("Stop, and ring the vet now, if")
    assert stop < summary.index(f"Out of hours {CLOSED}")
    owner = browser_of(app, story, "owner")
    hidden = hidden_in(owner.get("/cases/1/red-flags/new").text, "/cases/1/red-flags")
    assert owner.post("/cases/1/red-flags", {**hidden, **SIGN}).status_code == 303
    fitting = words_of(browser_of(app, story, "farrier").get("/cases/1/resets/new"))
    assert f"Out of hours: {CLOSED}" in fitting


def test_the_weeks_sheet_prints_it_for_each_visit(yard):
    visit = {"comes": "farrier", "visit_on": "2026-11-27", "visit_at": "09:30"}
    yard.done("farrier", "/visits/new", "/visits", visit)
    week = "/diary/week?from=2026-11-27"
    assert "Out of hours" not in words_of(yard.browser("farrier").get(week))
    given(yard)
    assert f"Out of hours {CLOSED}" in words_of(yard.browser("farrier").get(week))


def test_a_new_sheet_prints_it_under_its_danger_signs(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    given(story)
    at(story, clock)
    vet = browser_of(app, story, "vet")
    fields = hidden_in(vet.get("/cases/1/sheets/new").text, "/cases/1/sheets")
    assert vet.post("/cases/1/sheets", {**fields, "kind": "referral"}).status_code == 303
    with story.database.reading() as session:
        draft = session.scalars(select(SheetProposal)).one()
        said = json.loads(story.office.blobs.get(draft.snapshot_sha256))
    assert f"Out of hours: {CLOSED}" in said["emergency_contacts"]
    assert said["danger_signs"]


def line(name, role, organisation, phone, out_of_hours):
    return PersonLine(new_id(NOW), name, role, organisation, phone, out_of_hours)


def test_the_practice_is_that_of_the_vets_on_the_case():
    people = [
        line("Col", "coordinator", "Other", None, "01632 960001"),
        line("Fay", "farrier", "Forge", "01632 960002", None),
        line("Ann", "vet", "Hill", "01632 960003", CLOSED),
        line("Bea", "vet", "Hill", None, CLOSED),
    ]
    found = contacts_of(people)
    assert found == (
        Contact("Ann", "vet", "01632 960003"),
        Contact("Out of hours", "", CLOSED),
        Contact("Fay", "farrier", "01632 960002"),
    )
    assert to_ring(found) == (("Ann", "01632 960003"), ("Out of hours", CLOSED))
    two = contacts_of([*people, line("Cy", "vet", "Dale", None, "01632 960004")])
    assert [each.name for each in two][1:3] == ["Out of hours, Hill", "Out of hours, Dale"]


def test_a_forge_has_none(database):
    with database.transaction() as session:
        with pytest.raises(Invalid, match="Only a practice"):
            set_out_of_hours(session, a_forge(session), CLOSED)
        practice = a_practice(session)
        set_out_of_hours(session, practice, "+44 (1632) 960-117")
        assert practice.out_of_hours_phone == "+44 (1632) 960-117"
