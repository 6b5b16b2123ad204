"""An address that wants no letters: said by a letter's own address, to a real mail server."""

import re
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from sqlalchemy import select

from referral.app import create_app
from referral.cases.invitations import asked_onto
from referral.cases.links import invitation_of
from referral.cases.queries import case_for
from referral.errors import NotFound
from referral.inbox.stopping import address_asked, is_stopped, stop_letters
from referral.inbox.tokens import stop_token_for, stopping_of
from referral.notices.models import Notice, StoppedAddress
from referral.storage.ids import new_id
from tests.factories import NOW
from tests.features.notices.post import letters, part_of, waiting_jobs
from tests.features.notices.test_asked import ADDRESS, ask

ONE_CLICK = {"List-Unsubscribe": "One-Click"}
"""The body of RFC 8058, section 3.1."""


@pytest.fixture
def program(settings, wire):
    """A mail program: it has no cookie, no token of a form, and comes from elsewhere."""
    return create_app(settings, wire(settings)).test_client()


def say(program, address, **also):
    return program.post(
        address.removeprefix("https://referral.example.org"),
        data={**ONE_CLICK, **also},
        base_url="http://localhost",
        headers={"Origin": "https://mail.example.net"},
    )


def stop_in(mail):
    """Return the address of RFC 2369, 3.2, in a mail that has RFC 8058's second header too."""
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    (address,) = re.fullmatch(r"<(https://[^<>\s]+)>", mail["List-Unsubscribe"]).groups()
    for kind in ("plain", "html"):
        assert address in part_of(mail, kind)
    return address


def asked_again(database, case, clock, worker):
    clock.move(days=8)
    ask(database, case, clock)
    worker.run_waiting()


def test_one_click_ends_letters_to_the_address_and_can_be_taken_back(
    database, case, clock, worker, box, program
):
    ask(database, case, clock)
    worker.run_waiting()
    stop = stop_in(box.taken[0])
    path = stop.removeprefix("https://referral.example.org")
    opened = program.get(path, base_url="http://localhost")
    assert (opened.status_code, "No more letters to this address?" in opened.text) == (200, True)
    asked_again(database, case, clock, worker)
    assert len(to_address(box)) == 2  # opening it ended nothing
    for _time in (1, 2):
        assert say(program, stop).status_code == 200
    asked_again(database, case, clock, worker)
    assert len(to_address(box)) == 2
    with database.reading() as session:
        assert len(session.scalars(select(StoppedAddress)).all()) == 1
    assert say(program, stop, again="yes").status_code == 200
    asked_again(database, case, clock, worker)
    assert len(to_address(box)) == 3


def to_address(box, email=ADDRESS):
    return [each for each in box.recipients if each == [email]]


def test_a_letter_that_waits_is_not_sent_either(database, case, clock, worker, box, settings):
    ask(database, case, clock)
    box.to_answers.append("451 later")
    worker.run_waiting()
    with database.transaction() as session:
        stop_letters(session, ADDRESS.upper(), clock())
    clock.move(hours=1)
    worker.run_waiting()
    assert box.taken == []
    assert [each.outcome for each in letters(database)] == ["not_needed"]
    assert ADDRESS not in kept(database)


def kept(database):
    with database.reading() as session:
        return session.scalars(select(StoppedAddress)).one().email_sha256


def test_whoever_asks_sees_the_same_whether_it_is_stopped_and_whether_somebody_is_known(
    database, case, clock, worker
):
    cast, number = case
    known, unknown = cast.other_farrier.email, ADDRESS
    with database.transaction() as session:
        stop_letters(session, known, clock())
    for email in (known, unknown):
        ask(database, case, clock, email)
    worker.run_waiting()
    with database.reading() as session:
        access = case_for(session, cast.vet.id, number)
        standing = [(each.email, each.role) for each in asked_onto(session, access.case_id, NOW)]
        notices = session.scalars(select(Notice).where(Notice.person_id == cast.vet.id)).all()
    assert {email for email, _role in standing} == {known, unknown}
    assert notices == []
    clock.move(days=8)  # what is said then is said of both
    worker.run_waiting()
    with database.reading() as session:
        told = session.scalars(select(Notice.kind).where(Notice.person_id == cast.vet.id)).all()
    assert len(told) == 2
    assert len(set(told)) == 1


def test_other_mail_to_somebody_of_that_address_goes_on(database, case, clock, worker, box):
    cast, _number = case
    with database.transaction() as session:
        stop_letters(session, cast.farrier.email, clock())
    ask(database, case, clock, who="vet")
    worker.run_waiting()
    for _hour in range(3):
        clock.move(hours=1)
        worker.run_waiting()
    assert ADDRESS in {each for (each,) in box.recipients}
    assert [job.kind for job in waiting_jobs(database) if job.kind == "send_letter"] == []
    with database.reading() as session:
        assert is_stopped(session, cast.farrier.email)
        assert not is_stopped(session, ADDRESS)


def test_said_twice_at_once_it_is_kept_once(database):
    start = Barrier(4)

    def say_it(_n):
        start.wait()
        with database.transaction() as session:
            stop_letters(session, ADDRESS, NOW)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(say_it, range(4)))
    assert len(kept(database)) == 64


def test_its_address_is_nobody_elses_to_make_and_of_no_other_use(
    database, case, clock, settings, program
):
    key = settings.secret_key
    invitation_id = ask(database, case, clock)
    token = stop_token_for(key, invitation_id)
    assert stopping_of(key, token) == invitation_id
    for odd in ("", "AAAA", token[:-1], token + "A", stop_token_for("x" * 32, invitation_id)):
        with pytest.raises(NotFound):
            stopping_of(key, odd)
    with pytest.raises(NotFound):
        invitation_of(key, token)
    gone = new_id(NOW)
    assert say(program, f"/no-letters/{stop_token_for(key, gone)}").status_code == 404
    with database.reading() as session, pytest.raises(NotFound):
        address_asked(session, gone)
