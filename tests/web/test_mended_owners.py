"""An owner's mistyped address is mended: the wrong one takes up nothing, the right one is asked."""

import re

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.cases.models import Entry, InvitationEnd
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from referral.horses.models import Horse, TypedOwner
from tests.factories import a_person
from tests.web.test_horses_desk import form_of, recorded
from tests.web.test_owners import bytes_of, invitations, opened, reply, said
from tests.web.yard import a_yard, hidden_in, words_of

WRONG = "ann.vael@example.org"


@pytest.fixture
def yard(app, database):
    """The cast, whoever has the wrong address, the owner who has the right one, and a colleague."""
    found = a_yard(app, database)
    with database.transaction() as session:
        practice = session.get(Organisation, found.cast.practice_id)
        wrong = a_person(session, name="Vael Anders", email=WRONG)
        dora = a_person(session, name="Dora Penn", email="dora.penn@example.org")
        colleague = a_person(session, "vet", practice, name="Una Rand")
        found.emails |= {"wrong": wrong.email, "dora": dora.email, "colleague": colleague.email}
    return found


def mended(yard, horse, email, who="vet", name="Ann Vale"):
    path = f"{horse}/owner"
    browser = yard.browser(who)
    sent = {**hidden_in(browser.get(path), path), "owner_name": name, "owner_email": email}
    return browser.post(path, sent)


def kinds(yard, case, who="vet"):
    with yard.database.reading() as session:
        person = getattr(yard.cast, who).id
        found = case_for(session, person, int(case.rsplit("/", 1)[1]))
        assert list(chain_faults(session, found.case_id)) == []
        rows = select(Entry.kind).where(Entry.case_id == found.case_id).order_by(Entry.seq)
        return list(session.scalars(rows))


def test_the_wrong_address_is_asked_no_more_and_the_right_one_is(yard):
    horse, case = opened(yard, WRONG)
    (path,) = invitations(yard, "wrong")
    hidden = hidden_in(yard.browser("wrong").get("/"), path)
    assert mended(yard, horse, yard.emails["dora"]).location == horse
    assert invitations(yard, "wrong") == []
    answer = yard.browser("wrong").post(path, {**hidden, "answer": "accept"})
    assert answer.status_code == 404
    assert yard.browser("wrong").get(case).status_code == 404
    assert f"{yard.emails['dora']} as owner" in said(yard, case)
    assert WRONG not in said(yard, case).partition("Timeline")[0]
    assert kinds(yard, case) == [
        "case_opened", "member_added", "invitation_taken_back", "member_added",
    ]  # fmt: skip
    assert reply(yard, "dora", "accept").location == case
    assert "Dora Penn" in said(yard, horse)
    with yard.database.reading() as session:
        owners = session.scalars(select(Horse.owner_id).where(Horse.name == "Bramble")).all()
        assert len(owners) == 1
        assert owners[0] is not None


def test_what_stood_before_is_kept_with_who_mended_it(yard):
    horse, _case = opened(yard, WRONG)
    assert mended(yard, horse, yard.emails["dora"], "colleague", "Dora P.").status_code == 303
    page = said(yard, horse)
    assert "Owner Dora P." in page
    assert f"Ann Vale, {WRONG} until Una Rand mended it, 25 Nov 2026" in page
    assert f"email, not accepted yet {yard.emails['dora']}" in page
    with yard.database.reading() as session:
        row = session.scalars(select(Horse).where(Horse.name == "Bramble")).one()
        assert (row.owner_name, row.owner_email) == ("Ann Vale", WRONG)  # as it was typed
        assert len(session.scalars(select(TypedOwner)).all()) == 1


def test_a_colleagues_case_changes_who_is_asked_without_an_entry_that_is_not_theirs(yard):
    horse, case = opened(yard, WRONG)
    before = kinds(yard, case)
    assert mended(yard, horse, yard.emails["dora"], "colleague").status_code == 303
    assert invitations(yard, "wrong") == []
    assert yard.browser("colleague").get(case).status_code == 404
    assert kinds(yard, case) == before
    assert f"{yard.emails['dora']} as owner" in said(yard, case)
    assert "Una Rand asks you" in said(yard, "/", "dora")
    assert reply(yard, "dora", "accept").location == case
    assert kinds(yard, case) == [*before, "member_joined"]


def test_every_open_case_asks_anew_and_a_closed_one_only_stops(yard):
    horse, first = opened(yard, WRONG)
    vet = yard.browser("vet")
    sent = {"horse_id": horse.rsplit("/", 1)[1], "jurisdiction": "GB"}
    sent |= {"farrier_id": str(yard.cast.farrier.id), **form_of(vet.get("/cases/new"))}
    second = vet.post("/cases", sent).location
    fields = hidden_in(vet.get(f"{first}/closures/new"), f"{first}/closures")
    assert vet.post(f"{first}/closures", {**fields, "outcome": "improved"}).status_code == 303
    assert mended(yard, horse, yard.emails["dora"]).status_code == 303
    assert invitations(yard, "wrong") == []
    assert len(invitations(yard, "dora")) == 1
    assert kinds(yard, first)[-1] == "invitation_taken_back"
    assert reply(yard, "dora", "accept").location == second


def test_before_there_is_a_case_nobody_is_asked_and_the_next_case_asks_the_right_one(yard):
    horse = recorded(yard, owner_email=WRONG).location
    assert mended(yard, horse, yard.emails["dora"]).status_code == 303
    assert invitations(yard, "dora") == []
    vet = yard.browser("vet")
    sent = {"horse_id": horse.rsplit("/", 1)[1], "jurisdiction": "GB"}
    sent |= {"farrier_id": str(yard.cast.farrier.id), **form_of(vet.get("/cases/new"))}
    case = vet.post("/cases", sent).location
    assert invitations(yard, "wrong") == []
    assert reply(yard, "dora", "accept").location == case


def test_who_declined_by_the_wrong_address_is_not_in_the_way(yard):
    horse, case = opened(yard, WRONG)
    assert reply(yard, "wrong", "decline").location == "/"
    assert mended(yard, horse, yard.emails["dora"]).status_code == 303
    assert reply(yard, "dora", "accept").location == case


def test_the_name_alone_is_mended_without_asking_anybody_anew(yard):
    horse, case = opened(yard, yard.emails["dora"])
    assert (
        mended(yard, horse, yard.emails["dora"].upper(), name="Dora Penn-Vale").status_code == 303
    )
    assert "Dora Penn-Vale" in said(yard, case)
    assert kinds(yard, case) == ["case_opened", "member_added"]
    with yard.database.reading() as session:
        assert session.scalars(select(InvitationEnd)).all() == []
    assert reply(yard, "dora", "accept").location == case


def test_once_somebody_has_accepted_nothing_is_mended(yard):
    horse, _case = opened(yard, yard.emails["dora"])
    page = yard.browser("vet").get(f"{horse}/owner")
    fields = hidden_in(page, f"{horse}/owner")
    reply(yard, "dora", "accept")
    assert "/owner" not in yard.browser("vet").get(horse).text
    late = {**fields, "owner_name": "Ann Vale", "owner_email": WRONG}
    for answer in (
        yard.browser("vet").post(f"{horse}/owner", late),
        yard.browser("vet").get(f"{horse}/owner"),
    ):
        assert answer.status_code == 409
        assert "has accepted as this horse" in words_of(answer)
    assert invitations(yard, "wrong") == []


def test_only_who_records_such_horses_mends_them(yard):
    horse, _case = opened(yard, WRONG)
    sent = {"owner_name": "X", "owner_email": "x@example.org"}
    before = yard.rows()
    for who, status in (
        ("farrier", 404), ("other_vet", 404), ("other_farrier", 404), ("wrong", 403),
        ("dora", 403), ("coordinator", 403),
    ):  # fmt: skip
        assert yard.browser(who).get(f"{horse}/owner").status_code == status
        assert yard.browser(who).post(f"{horse}/owner", sent).status_code == status
        assert "Mend the owner" not in words_of(yard.browser(who).get(horse))
    assert yard.rows() == before


@pytest.mark.parametrize(
    ("email", "fault"),
    [("not an address", "email"), (WRONG, "stands there already"), ("", "fill this in")],
)
def test_what_cannot_be_is_refused_beside_its_field_and_kept(yard, email, fault):
    horse, _case = opened(yard, WRONG)
    before = yard.rows()
    answer = mended(yard, horse, email)
    assert answer.status_code == 422
    assert fault in words_of(answer)
    assert 'id="owner_email-fault"' in answer.text
    assert f'value="{email}"' in answer.text
    assert yard.rows() == before


def test_what_is_answered_is_the_same_whether_or_not_the_address_has_an_account(yard):
    pages = []
    for email in (yard.emails["dora"], "no.one@example.org", yard.emails["other_farrier"]):
        horse, case = opened(yard, WRONG)
        answer = mended(yard, horse, email)
        shown = [bytes_of(yard, path, email) for path in (horse, case)]
        pages.append((answer.status_code, re.sub(r"[0-9a-f-]{36}", "ID", answer.location), shown))
    assert pages[0] == pages[1] == pages[2]
    assert "Dora Penn" not in pages[0][2][0] + pages[0][2][1]
