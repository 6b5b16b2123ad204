"""An invitation is open for seven days, can be asked again, and nobody asks without end."""

import re

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.cases.invitations import MOST_A_DAY, MOST_OPEN
from referral.cases.joining import AskOnto, Choice, ask_onto
from referral.cases.models import Entry, Invitation
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from referral.core.workflow import Role
from tests.factories import a_person
from tests.web.test_horses_desk import form_of, recorded
from tests.web.yard import a_yard, hidden_in, words_of

ADDRESS = "nobody.here@example.org"
OVER = "Not answered within seven days"


@pytest.fixture
def yard(app, database):
    found = a_yard(app, database)
    with database.transaction() as session:
        far = session.merge(found.cast.other_vet)
        found.emails["far"] = far.email
    return found


def later(yard, clock, **by):
    clock.move(**by)
    yard.browsers.clear()


def asked(yard, email=ADDRESS, role="vet", who="vet"):
    return yard.send(who, "/members/new", "/members", {"role": role, "email": email})


def part_about(page):
    """Return what the case page says of those who were asked."""
    return words_of(page).partition("Asked, not on the case")[2].partition("Problem")[0]


def pressed(yard, what, who="vet"):
    """Press the button on the case page that leads to this of an invitation."""
    page = yard.open(who)
    path = re.search(rf'action="(/cases/1/invitations/[^"]+/{what})"', page.text)[1]
    return yard.browser(who).post(path, hidden_in(page, path))


def replies(yard, who):
    return re.findall(r'action="(/invitations/[^"]+)"', yard.browser(who).get("/").text)


def test_it_is_open_to_the_last_minute_of_seven_days_and_no_longer(yard, clock):
    assert asked(yard, yard.emails["far"]).status_code == 303
    assert "until 2 Dec 2026, 09:00" in part_about(yard.open("vet"))
    later(yard, clock, days=6, hours=23, minutes=59)
    (path,) = replies(yard, "far")
    assert "open until 2 Dec 2026, 09:00" in words_of(yard.browser("far").get("/"))
    later(yard, clock, minutes=1)
    assert replies(yard, "far") == []
    yard.browser("far").get("/account")
    assert yard.browser("far").post(path, {"answer": "accept"}).status_code == 404
    for who in ("vet", "farrier", "coordinator"):
        assert f"{yard.emails['far']} as vet {OVER}" in part_about(yard.open(who))


def test_who_did_not_answer_is_asked_again_for_seven_days_and_comes(yard, clock):
    asked(yard, yard.emails["far"])
    assert "/repeats" not in yard.open("vet").text  # the button comes with the end
    later(yard, clock, days=8)
    assert pressed(yard, "repeats").status_code == 303
    about = part_about(yard.open("vet"))
    assert OVER not in about
    assert about.count(yard.emails["far"]) == 1
    (path,) = replies(yard, "far")
    sent = {**hidden_in(yard.browser("far").get("/"), path), "answer": "accept"}
    assert yard.browser("far").post(path, sent).location == yard.home
    with yard.database.reading() as session:
        access = case_for(session, yard.cast.vet.id, yard.number)
        assert list(chain_faults(session, access.case_id)) == []
        kinds = list(session.scalars(select(Entry.kind).order_by(Entry.seq)))
    assert kinds == ["case_opened", "member_added", "member_added", "member_joined"]


def test_who_is_over_can_be_let_go_and_only_who_may_ask_has_the_buttons(yard, clock):
    asked(yard)
    later(yard, clock, days=8)
    with yard.database.reading() as session:
        row = session.scalars(select(Invitation)).one().id
    for who, status in (("owner", 403), ("apprentice", 403), ("far", 404)):
        assert "/repeats" not in yard.open(who).text
        path = f"{yard.home}/invitations/{row}/repeats"
        assert yard.browser(who).post(path).status_code == status
    assert pressed(yard, "withdrawals", "farrier").status_code == 303
    assert part_about(yard.open("vet")) == ""


def test_one_that_is_over_foresees_nobody(yard, clock):
    horse = recorded(yard).location.rsplit("/", 1)[1]
    vet = yard.browser("vet")
    sent = {"horse_id": horse, "jurisdiction": "GB", "farrier_email": ADDRESS}
    home = vet.post("/cases", {**sent, **form_of(vet.get("/cases/new"))}).location
    said = {"limbs": "LF", "urgency": "routine", "goals": "Up to 3°", "no_limits": "yes"}
    ask_first = "Ask a farrier onto the case first"

    def referred():
        browser = yard.browser("vet")
        fields = hidden_in(browser.get(f"{home}/referrals/new"), f"{home}/referrals")
        return words_of(browser.post(f"{home}/referrals", {**fields, **said}))

    assert ask_first not in referred()
    later(yard, clock, days=8)
    assert ask_first in referred()


def test_who_declined_is_said_until_somebody_else_is_that(yard):
    with yard.database.transaction() as session:
        dora = a_person(session, name="Dora Penn")
        yard.emails["dora"] = dora.email
    horse = recorded(yard, owner_name="Ann Vale", owner_email=yard.emails["dora"]).location
    vet = yard.browser("vet")
    sent = {"horse_id": horse.rsplit("/", 1)[1], "jurisdiction": "GB"}
    sent |= {"farrier_id": str(yard.cast.farrier.id), **form_of(vet.get("/cases/new"))}
    home = vet.post("/cases", sent).location
    (path,) = replies(yard, "dora")
    fields = {**hidden_in(yard.browser("dora").get("/"), path), "answer": "decline"}
    assert yard.browser("dora").post(path, fields).status_code == 303
    said = words_of(vet.get(home))
    assert f"{yard.emails['dora']} as owner Declined" in said
    assert "Dora" not in said
    assert "Somebody who was asked declined" in words_of(vet.get("/notices"))
    fields = hidden_in(vet.get(f"{home}/members/new"), f"{home}/members")
    known = {"role": "owner", "person_id": str(yard.cast.owner.id)}
    assert vet.post(f"{home}/members", {**fields, **known}).status_code == 303
    assert "Declined" not in words_of(vet.get(home))


def fill(yard, how_many, clock, **apart):
    """Have the vet ask so many, with some time between each."""
    with yard.database.transaction() as session:
        for number in range(how_many):
            access = case_for(session, yard.cast.vet.id, yard.number)
            command = AskOnto(Role.VET, Choice(None, f"v{number}@example.org"), clock.now.date())
            ask_onto(session, access, command, clock.now)
            clock.move(**apart)


def test_so_many_a_day_and_no_more_and_nothing_typed_is_lost(yard, clock):
    fill(yard, MOST_A_DAY, clock)
    before = yard.rows()
    answer = asked(yard)
    assert answer.status_code == 422
    assert f"You have asked {MOST_A_DAY} people within a day" in words_of(answer)
    assert f'value="{ADDRESS}"' in answer.text
    assert yard.rows() == before
    assert asked(yard, who="farrier").status_code == 303  # another person's count is their own
    later(yard, clock, hours=24, minutes=1)
    assert asked(yard, "other@example.org").status_code == 303


def test_so_many_open_at_a_time_and_no_more(yard, clock):
    fill(yard, MOST_OPEN, clock, hours=2)  # twelve a day: five days in all
    yard.browsers.clear()
    answer = asked(yard)
    assert answer.status_code == 422
    assert f"{MOST_OPEN} people whom you asked have not answered yet" in words_of(answer)
    assert pressed(yard, "withdrawals").status_code == 303
    assert asked(yard).status_code == 303


@pytest.mark.parametrize("who", ["vet", "farrier"])
def test_a_case_is_opened_all_the_same_and_says_that_the_owner_is_not_asked(yard, clock, who):
    horse = recorded(yard, owner_name="Ann Vale").location.rsplit("/", 1)[1]
    fill(yard, MOST_A_DAY, clock)
    vet = yard.browser("vet")
    if who == "vet":
        sent = {"horse_id": horse, "jurisdiction": "GB", "farrier_id": str(yard.cast.farrier.id)}
        home = vet.post("/cases", {**sent, **form_of(vet.get("/cases/new"))}).location
        said = words_of(vet.get(home))
        assert "Ann Vale, the owner, is not asked onto the case. Ask them" in said
        assert "as owner" not in said
        return
    sent = {"horse_id": horse, "jurisdiction": "GB", "farrier_email": ADDRESS}
    refused = vet.post("/cases", {**sent, **form_of(vet.get("/cases/new"))})
    assert refused.status_code == 422
    assert 'id="farrier_email-fault"' in refused.text
    assert f'value="{ADDRESS}"' in refused.text


def test_a_person_known_is_brought_on_whatever_the_count(yard, clock, database):
    with database.transaction() as session:
        una = a_person(session, "vet", session.get(Organisation, yard.cast.practice_id))
        una_id = str(una.id)
    fill(yard, MOST_A_DAY, clock)
    yard.done("vet", "/members/new", "/members", {"role": "vet", "person_id": una_id})
