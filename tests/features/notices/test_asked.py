"""Letters to addresses that are asked onto a case, through a real server: when, and saying what."""

import dataclasses
import re
from email import policy
from email.parser import BytesParser

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation, Person
from referral.cases.handing import HandOver, hand_over
from referral.cases.invitations import TELL_OF_SILENCE, asked_onto
from referral.cases.joining import AskOnto, Choice, ask_onto, take_back
from referral.cases.links import invitation_of, token_for_invitation
from referral.cases.queries import case_for
from referral.cases.remarks import close_case
from referral.cases.service import Words
from referral.core.workflow import Role
from referral.errors import NotFound
from referral.inbox.posting import MOST_ATTEMPTS
from referral.notices.models import Notice
from referral.notices.policy import MAIL_LOST, NOT_COMING
from referral.storage.ids import new_id
from tests.factories import NOW, a_person
from tests.features.notices.moves import lost, rename, wish
from tests.features.notices.post import letters, part_of, waiting_jobs

ADDRESS = "una.rand@example.org"
LINK = re.compile(r"https://referral\.example\.org/asked/([\w-]+)")
TOKEN = re.compile(r"(?<=/asked/|etters/)[\w-]{43}")


def ask(database, case, clock, email=ADDRESS, role=Role.FARRIER, who="vet"):
    cast, number = case
    with database.transaction() as session:
        access = case_for(session, getattr(cast, who).id, number)
        ask_onto(session, access, AskOnto(role, Choice(None, email), clock().date()), clock())
        (*_others, row) = asked_onto(session, access.case_id, clock())
        return row.id


def let_go(database, case, clock, invitation_id):
    cast, number = case
    with database.transaction() as session:
        access = case_for(session, cast.vet.id, number)
        take_back(session, access, invitation_id, clock().date(), clock())


def test_whoever_is_asked_has_one_letter_that_says_who_asks_as_what_until_when_and_how(
    database, case, clock, worker, settings, box
):
    cast, _number = case
    invitation_id = ask(database, case, clock)
    worker.run_waiting()
    assert box.recipients == [[ADDRESS]]
    (mail,) = box.taken
    assert mail["Subject"] == f"{cast.vet.name} (Hollow Lane Vets) asks you onto a case"
    assert mail["To"] == ADDRESS
    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834, section 5
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]
    for kind in ("plain", "html"):
        said = " ".join(re.sub("<[^>]+>", "", part_of(mail, kind)).split())
        for needed in (cast.vet.name, "Hollow Lane Vets", "as farrier", "2 Dec 2026, 09:00"):
            assert needed in said
        (token,) = LINK.findall(part_of(mail, kind))
        assert invitation_of(settings.secret_key, token) == invitation_id
    worker.run_waiting()
    assert len(box.taken) == 1
    assert [each.outcome for each in letters(database)] == ["sent"]


def test_a_letter_says_nothing_of_the_case(database, case, clock, worker, box):
    cast, number = case
    ask(database, case, clock, role=Role.OWNER)
    worker.run_waiting()
    whole = box.raw[0].decode().replace("=\r\n", "")
    for private in ("Marrow", cast.owner.name, cast.farrier.name, f"/cases/{number}", "case 1"):
        assert private not in whole
    assert "the owner of a horse" in whole


def test_the_letter_is_the_same_whether_or_not_somebody_is_known_by_the_address(
    database, case, clock, worker, box
):
    cast, _number = case
    for email in (ADDRESS, cast.other_farrier.email):
        ask(database, case, clock, email)
    worker.run_waiting()
    first, second = (
        [TOKEN.sub("LINK", part_of(mail, kind)) for kind in ("plain", "html")] for mail in box.taken
    )
    assert first == second
    assert cast.other_farrier.name not in box.raw[1].decode()


def test_names_that_would_break_a_letter_do_not(database, case, clock, worker, box):
    cast, _number = case
    rename(database, cast.vet, name="Ann\r\nBcc: x@example.org <b>bold</b>\u2028" + "y" * 90)
    ask(database, case, clock)
    worker.run_waiting()
    mail = BytesParser(policy=policy.default).parsebytes(box.raw[0])
    assert mail["Bcc"] is None
    assert box.recipients == [[ADDRESS]]
    assert "<b>bold" not in mail.get_body(("html",)).get_content()
    assert mail.get_body(("plain",)).get_content().startswith("Hello,")


def test_an_address_is_not_written_to_twice_about_a_case_within_a_day(
    database, case, clock, worker, box
):
    for _time in range(3):
        invitation_id = ask(database, case, clock)
        worker.run_waiting()
        let_go(database, case, clock, invitation_id)
        clock.move(hours=2)
    last = ask(database, case, clock)
    worker.run_waiting()
    assert len(box.taken) == 1
    assert len(letters(database)) == 1
    clock.move(hours=17, minutes=59)  # a minute before a day since the first
    worker.run_waiting()
    assert len(box.taken) == 1
    clock.move(minutes=1)
    worker.run_waiting()
    worker.run_waiting()
    assert len(box.taken) == 2
    tokens = [LINK.search(part_of(mail, "plain"))[1] for mail in box.taken]
    assert tokens[0] != tokens[1]
    assert [each.invitation_id for each in letters(database)][-1] == last


@pytest.mark.parametrize("how", ["taken back", "too old", "closed account", "turned off"])
def test_nobody_is_written_to_for_nothing(database, case, clock, worker, box, how):
    cast, _number = case
    email = cast.other_farrier.email
    if how == "closed account":
        rename(database, cast.other_farrier, revoked_at=NOW)
    elif how == "turned off":
        wish(database, cast.other_farrier, clock, without=frozenset({"referral"}))
    invitation_id = ask(database, case, clock, email)
    if how == "taken back":
        let_go(database, case, clock, invitation_id)
    elif how == "too old":
        clock.move(days=7)
    worker.run_waiting()
    assert [email] not in box.recipients
    assert [each for each in letters(database) if each.invitation_id] == []
    assert {each.kind for each in waiting_jobs(database)} <= {TELL_OF_SILENCE}


def test_a_letter_is_not_sent_once_what_it_asks_is_over(database, case, clock, worker, box):
    invitation_id = ask(database, case, clock)
    box.to_answers.append("451 later")
    worker.run_waiting()
    let_go(database, case, clock, invitation_id)
    clock.move(hours=1)
    worker.run_waiting()
    assert box.taken == []
    assert [each.outcome for each in letters(database)] == ["not_needed"]


def test_quiet_hours_are_kept(database, case, clock, worker, box):
    cast, _number = case
    wish(database, cast.other_farrier, clock, quiet_from=8, quiet_until=17, daily=True)
    ask(database, case, clock, cast.other_farrier.email)  # at 09:00
    worker.run_waiting()
    assert box.taken == []
    clock.now = clock.now.replace(hour=17)
    worker.run_waiting()
    assert len(box.taken) == 1


def test_without_a_mail_server_nothing_is_written_and_nothing_waits(
    database, case, clock, make_worker, settings, box
):
    ask(database, case, clock)
    make_worker(dataclasses.replace(settings, mail_host=None)).run_waiting()
    assert letters(database) == []
    assert {each.kind for each in waiting_jobs(database)} <= {TELL_OF_SILENCE}


def test_one_that_is_lost_is_tried_again_as_the_same_mail_and_then_said_to_who_asked(
    database, case, clock, worker, box
):
    cast, _number = case
    ask(database, case, clock)
    box.answers += ["451 busy", "drop"]
    for _try in range(4):
        worker.run_waiting()
        clock.move(hours=1)
    assert len(set(box.raw)) == 1  # taken once as it hung up, and once more: one to the eye
    assert [each.outcome for each in letters(database)] == ["sent"]
    clock.move(days=1)
    ask(database, case, clock, "other@example.org")
    box.to_answers += ["451 later"] * MOST_ATTEMPTS
    for _try in range(MOST_ATTEMPTS + 1):
        worker.run_waiting()
        clock.move(hours=9)
    assert letters(database)[-1].outcome == "given_up"
    assert lost(database) == {cast.vet.id}


def test_an_address_that_is_refused_is_said_to_who_asked_if_they_are_still_there(
    database, case, clock, worker, box
):
    cast, number = case
    ask(database, case, clock)
    ask(database, case, clock, "more@example.org", who="farrier")
    box.to_answers += ["550 no such box"] * 2
    with database.transaction() as session:
        comes = a_person(session, "vet", _practice(session, cast))
        command = HandOver(Role.VET, cast.vet.id, comes.id, clock().date(), "Away")
        hand_over(session, case_for(session, cast.vet.id, number), command, clock())
    worker.run_waiting()
    asked = [each for each in letters(database) if each.person_id is None]
    assert [each.outcome for each in asked] == ["given_up", "given_up"]
    assert lost(database) == {cast.farrier.id}
    with database.reading() as session:
        row = session.scalars(select(Notice).where(Notice.kind == MAIL_LOST)).one()
        assert row.undelivered_id == asked[-1].id
        assert session.scalars(select(Person.id).where(Person.email == ADDRESS)).all() == []


def _practice(session, cast):
    return session.get_one(Organisation, cast.practice_id)


def test_an_address_of_a_letter_is_nobody_elses_to_make(settings):
    """A proof of 32 bytes, HMAC-SHA-256 (RFC 2104) of what it is for; every sign of it counts."""
    invitation_id = new_id(NOW)
    token = token_for_invitation(settings.secret_key, invitation_id)
    assert invitation_of(settings.secret_key, token) == invitation_id
    other = token_for_invitation(settings.secret_key, new_id(NOW))
    assert token[22:] != other[22:]
    for place in range(len(token)):
        spoilt = token[:place] + ("A" if token[place] != "A" else "B") + token[place + 1 :]
        with pytest.raises(NotFound):
            invitation_of(settings.secret_key, spoilt)
    foreign = token_for_invitation("x" * 32, invitation_id)
    for odd in ("", "AAAA", token[:-1], token + "A", "é", "=" * 64, foreign):
        with pytest.raises(NotFound):
            invitation_of(settings.secret_key, odd)


def not_coming(database):
    with database.reading() as session:
        told = select(Notice.person_id).where(Notice.kind == NOT_COMING)
        return session.scalars(told).all()


def test_who_asked_is_told_once_that_nobody_answered(database, case, clock, make_worker, settings):
    cast, _number = case
    ask(database, case, clock)
    clock.move(days=6, hours=23)
    make_worker(settings).run_waiting()
    assert not_coming(database) == []
    clock.move(days=3)  # the worker was down when the seven days were over
    for _worker in range(2):
        make_worker(settings).run_waiting()
    assert not_coming(database) == [cast.vet.id]


@pytest.mark.parametrize("how", ["taken back", "closed", "handed over"])
def test_nobody_is_told_of_what_concerns_nobody_any_more(database, case, clock, worker, how):
    cast, number = case
    invitation_id = ask(database, case, clock)
    if how == "taken back":
        let_go(database, case, clock, invitation_id)
    with database.transaction() as session:
        vet = case_for(session, cast.vet.id, number)
        if how == "closed":
            close_case(session, vet, "improved", Words(None, clock().date()), clock())
        if how == "handed over":
            comes = a_person(session, "vet", _practice(session, cast))
            hand_over(
                session,
                vet,
                HandOver(Role.VET, cast.vet.id, comes.id, clock().date(), "Away"),
                clock(),
            )
    clock.move(days=8)
    worker.run_waiting()
    assert not_coming(database) == []
