"""Somebody accepted as a horse's owner and was not: the vet corrects it, and they see nothing."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from sqlalchemy import select

from referral.cases.queries import case_for
from referral.core.workflow import Stage
from referral.horses.models import Horse, TypedOwner
from tests.factories import a_person
from tests.web.signing import at, browser_of, hidden_in, story_in
from tests.web.test_owners import case_on, invitations, kinds, opened, reply, said
from tests.web.yard import a_yard, words_of

REASON = "The address was typed with one letter wrong."


@pytest.fixture
def yard(app, database):
    found = a_yard(app, database)
    with database.transaction() as session:
        wrong = a_person(session, name="Vael Anders", email="ann.vael@example.org")
        dora = a_person(session, name="Dora Penn", email="dora.penn@example.org")
        found.emails |= {"wrong": wrong.email, "dora": dora.email}
    return found


@pytest.fixture
def taken(yard):
    """The addresses of a horse and its case whose owner is somebody else than was meant."""
    horse, case = opened(yard, yard.emails["wrong"])
    assert reply(yard, "wrong", "accept").location == case
    return horse, case


def corrected(yard, case, email=None, who="vet", **changed):
    path = f"{case}/owner-corrections"
    page = yard.browser(who).get(f"{path}/new")
    sent = {"owner_name": "Dora P.", "owner_email": email or yard.emails["dora"], "reason": REASON}
    return yard.browser(who).post(path, {**hidden_in(page.text, path), **sent, **changed})


def test_the_wrong_person_sees_nothing_at_once_and_the_right_one_is_asked(yard, taken):
    horse, case = taken
    wrong = yard.browser("wrong")
    assert wrong.get(case).status_code == 200
    page = yard.browser("wrong").get(f"{case}/observations/new")
    assert "Is the owner somebody else?" in said(yard, case)
    assert "Vael Anders" in said(yard, f"{case}/owner-corrections/new")
    assert corrected(yard, case).location == case
    for path in (case, horse, f"{case}/past", f"{case}/history", f"{case}/summary"):
        assert wrong.get(path).status_code == 404
    late = {**hidden_in(page.text, f"{case}/observations"), "limb": "LF", "about": "worry"}
    assert wrong.post(f"{case}/observations", {**late, "words": "x"}).status_code == 404
    assert "Bramble" not in words_of(wrong.get("/"))
    assert "Bramble" not in words_of(wrong.get("/horses"))
    assert "Bramble" not in words_of(wrong.get("/notices"))
    assert "Dora P." in said(yard, horse)
    assert reply(yard, "dora", "accept").location == case
    assert "Bramble" in said(yard, case, "dora")
    assert kinds(yard, case) == [
        "case_opened", "member_added", "member_joined", "owner_corrected", "member_added",
        "member_joined",
    ]  # fmt: skip
    assert REASON in said(yard, case)


def test_what_was_is_kept_in_new_rows(yard, taken):
    _horse, case = taken
    corrected(yard, case)
    with yard.database.reading() as session:
        row = session.scalars(select(TypedOwner)).one()
        horse = session.get_one(Horse, row.horse_id)
    assert horse.owner_id is None
    assert horse.owner_email == yard.emails["wrong"]
    assert (row.email, row.typed_by) == (yard.emails["dora"], yard.cast.vet.id)
    assert row.instead_of is not None


def test_it_holds_on_every_case_of_the_horse(yard, taken):
    horse, case = taken
    other = case_on(yard, horse)
    assert yard.browser("wrong").get(other).status_code == 200
    corrected(yard, case)
    assert yard.browser("wrong").get(other).status_code == 404
    assert kinds(yard, other)[-2:] == ["owner_corrected", "member_added"]
    assert len(invitations(yard, "dora")) == 2


def test_who_was_never_the_owner_is_not_linked_to_another_horse_by_being_typed(yard, taken):
    _horse, case = taken
    corrected(yard, case)
    another, _case = opened(yard, yard.emails["wrong"])
    assert "Vael Anders" not in said(yard, another)


def test_only_a_vet_on_the_case_corrects_it(yard, taken):
    _horse, case = taken
    before = yard.rows()
    path = f"{case}/owner-corrections"
    for who, status in (("farrier", 403), ("wrong", 403), ("other_vet", 404), ("owner", 404)):
        assert yard.browser(who).get(f"{path}/new").status_code == status
        assert yard.browser(who).post(path, {}).status_code == status
        assert "Is the owner somebody else?" not in said(yard, case, who)
    assert yard.rows() == before


@pytest.mark.parametrize(
    ("field", "value", "fault"),
    [
        ("owner_email", "ann.VAEL@example.org", "stands there already"),
        ("owner_email", "not an address", "email"),
        ("reason", "", "fill this in"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_kept(yard, taken, field, value, fault):
    _horse, case = taken
    before = yard.rows()
    answer = corrected(yard, case, **{field: value})
    assert answer.status_code == 422
    assert fault in words_of(answer)
    assert f'id="{field}-fault"' in answer.text
    assert 'value="Dora P."' in answer.text
    assert yard.browser("wrong").get(case).status_code == 200
    assert yard.rows() == before


def test_a_second_correction_finds_nobody_to_correct(yard, taken):
    _horse, case = taken
    corrected(yard, case)
    answer = corrected(yard, case)
    assert answer.status_code == 409
    assert "Nobody has accepted" in words_of(answer)
    assert "Nobody has accepted" in said(yard, f"{case}/owner-corrections/new")


def test_consent_of_who_was_not_the_owner_is_none_and_is_named(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    with story.database.transaction() as session:
        owner = story.access(session, "owner").actor_id
        horse = session.get_one(Horse, story.access(session, "vet").horse_id)
        horse.owner_id = owner
    at(story, clock)
    vet = browser_of(app, story, "vet")
    path = "/cases/1/owner-corrections"
    page = vet.get(f"{path}/new")
    assert "They consented to plan 1" in words_of(page)
    assert "not the owner’s consent" in words_of(page)
    sent = {"owner_name": "Dora", "owner_email": "d@example.org", "reason": REASON}
    assert vet.post(path, {**hidden_in(page.text, path), **sent}).status_code == 303
    with story.database.reading() as session:
        access = case_for(session, story.cast.vet.id, 1)
    assert access.state.stage is Stage.CONSENT
    assert "Consent to the plan" in words_of(vet.get("/cases/1"))


@pytest.mark.parametrize("_round", range(3))
def test_accepting_while_the_address_is_mended_one_of_the_two_wins(yard, _round):
    horse, case = opened(yard, yard.emails["wrong"])
    (path,) = invitations(yard, "wrong")
    accepting = {**hidden_in(yard.browser("wrong").get("/").text, path), "answer": "accept"}
    page = yard.browser("vet").get(f"{horse}/owner")
    mending = {"owner_name": "Dora P.", "owner_email": yard.emails["dora"]}
    mending |= hidden_in(page.text, f"{horse}/owner")
    start = Barrier(2)

    def send(who, to, fields):
        start.wait()
        return yard.browser(who).post(to, fields)

    with ThreadPoolExecutor(2) as pool:
        accepted, mended = pool.map(
            send, ("wrong", "vet"), (path, f"{horse}/owner"), (accepting, mending)
        )
    assert (accepted.status_code, mended.status_code) in ((303, 409), (404, 303))
    won = accepted.status_code == 303
    loser = words_of(mended if won else accepted)
    assert ("has accepted as this horse" if won else "taken back") in loser
    assert yard.browser("wrong").get(case).status_code == (200 if won else 404)
    assert len(invitations(yard, "dora")) == (0 if won else 1)
    assert "case_opened" in kinds(yard, case)  # and the chain verifies
