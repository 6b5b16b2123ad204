"""Mail through a real server: once to the eye, whatever breaks; nothing in it of the record."""

import dataclasses
import re
from email import policy
from email.parser import BytesParser
from html.parser import HTMLParser

import pytest

from referral.cases.models import CaseMember
from referral.cases.queries import case_for
from referral.cases.remarks import close_case
from referral.cases.service import (
    Words,
    acknowledge,
)
from referral.core.workflow import Role
from referral.inbox.posting import MOST_ATTEMPTS
from referral.inbox.tokens import Ending, ending_of
from referral.notices.policy import Topic
from referral.storage.ids import new_id
from tests.factories import NOW
from tests.features.notices.moves import flag, leave, lost, refer, rename
from tests.features.notices.post import letters, part_of, waiting_jobs


def test_a_move_is_told_by_one_mail_with_both_parts(database, case, clock, worker, box):
    cast, number = case
    refer(database, case, clock)
    worker.run_waiting()
    assert box.recipients == [[cast.farrier.email]]
    mail = box.taken[0]
    assert mail["Subject"] == f"Case {number}: a referral was sent to you"
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]
    for kind in ("plain", "html"):
        assert f"https://referral.example.org/cases/{number}" in part_of(mail, kind)
    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834, section 5
    assert [each.outcome for each in letters(database)] == ["sent"]


def test_a_mail_says_nothing_of_what_is_in_the_record(database, case, clock, worker, box):
    cast, _number = case
    refer(database, case, clock)
    flag(database, case, clock)
    worker.run_waiting()
    assert len(box.taken) == 3  # referral to the farrier; the flag to vet and farrier
    everything = b"".join(box.raw).decode().replace("=\r\n", "")
    for private in ("Marrow", "heel", "LF", "laminitis", cast.owner.name, "Raise the heel"):
        assert private not in everything


def test_each_of_several_moves_is_told_to_whoever_has_the_turn(database, case, clock, worker, box):
    cast, number = case
    refer(database, case, clock)
    worker.run_waiting()
    clock.move(minutes=1)
    with database.transaction() as session:
        acknowledge(
            session, case_for(session, cast.farrier.id, number), Words(None, NOW.date()), clock()
        )
    worker.run_waiting()
    clock.move(minutes=1)
    flag(database, case, clock, who="vet")
    worker.run_waiting()
    told = [
        (each[0], mail["Subject"]) for each, mail in zip(box.recipients, box.taken, strict=True)
    ]
    assert told[0] == (cast.farrier.email, f"Case {number}: a referral was sent to you")
    assert {who for who, said in told[1:] if "red flag" in said} == {
        cast.farrier.email,
        cast.owner.email,
    }
    assert len(told) == 3


def test_a_mail_carries_the_address_that_ends_mail_like_it(
    database, case, clock, worker, settings, box
):
    """RFC 8058, section 3.1: both headers, one https address, this exact second value."""
    refer(database, case, clock)
    worker.run_waiting()
    mail = box.taken[0]
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    found = re.fullmatch(r"<https://[a-z.]+/unsubscribe/([\w-]+)>", mail["List-Unsubscribe"])
    ending = ending_of(settings.secret_key, found[1])
    assert ending == Ending(case[0].farrier.id, frozenset({Topic.REFERRAL}))
    for kind in ("plain", "html"):
        assert f"/unsubscribe/{found[1]}" in part_of(mail, kind)


class _Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.addresses, self.text = [], [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.addresses += [
            value for name, value in attrs if name in {"src", "href", "background", "srcset"}
        ]

    def handle_data(self, data):
        self.text += data


def test_what_people_are_called_breaks_no_header_and_no_html(
    database, case, clock, make_worker, settings, box
):
    cast, _number = case
    wicked = "Eve\r\nBcc: all@example.org\r\n\r\n<img src=//x><script>x</script>"
    rename(database, cast.farrier, name=wicked)
    refer(database, case, clock)
    house = "Hufschmiede Üllő & Söhne\r\nX-Evil: 1"
    make_worker(dataclasses.replace(settings, instance_name=house)).run_waiting()
    mail = box.taken[0]
    assert box.recipients == [[cast.farrier.email]]
    assert mail["Bcc"] is None
    assert mail["X-Evil"] is None
    assert [each.addr_spec for each in mail["To"].addresses] == [cast.farrier.email]
    assert mail["From"].addresses[0].display_name == "Hufschmiede Üllő & Söhne X-Evil: 1"
    reader = _Reader()
    reader.feed(part_of(mail, "html"))
    assert not {"img", "script", "link", "iframe", "object", "style"} & set(reader.tags)
    assert "<img src=//x>" in reader.text  # shown as it was typed
    assert all(each.startswith("https://referral.example.org/") for each in reader.addresses)
    assert "url(" not in part_of(mail, "html")
    assert part_of(mail, "plain").startswith("Hello Eve Bcc: all@example.org <img")


def test_headers_are_ascii_on_the_wire_and_read_back_whole(
    database, case, clock, make_worker, settings, box
):
    """RFC 5322 section 2.1.1: no line over 998 characters; RFC 2047: other scripts as words."""
    cast, _number = case
    name = "Сергій Коваль 蹄鉄"
    rename(database, cast.farrier, name=name)
    refer(database, case, clock)
    far = f"https://{'a-long-name.' * 8}example.org"
    make_worker(dataclasses.replace(settings, address=far)).run_waiting()
    raw = box.raw[0]
    raw.decode("ascii")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 998
    mail = BytesParser(policy=policy.default).parsebytes(raw)
    assert mail["To"].addresses[0].display_name == name
    assert f"List-Unsubscribe: <{far}/unsubscribe/".encode() in raw


def test_a_server_that_is_busy_gets_it_later_and_the_reader_gets_one(
    database, case, clock, worker, box
):
    box.answers[:] = ["451 4.3.2 busy", "451 4.3.2 busy"]
    refer(database, case, clock)
    worker.run_waiting()
    assert box.taken == []
    clock.move(minutes=1)
    worker.run_waiting()
    clock.move(minutes=1)
    worker.run_waiting()
    assert box.taken == []  # the second wait is longer
    clock.move(minutes=1)
    worker.run_waiting()
    assert len(box.taken) == 1
    clock.move(hours=24)
    assert worker.run_waiting() == 0


def test_an_address_that_is_full_is_tried_again_and_not_written_in_a_log(
    database, case, clock, worker, box, caplog
):
    cast, _number = case
    box.to_answers[:] = ["452 4.2.2 full"]
    refer(database, case, clock)
    worker.run_waiting()
    assert box.taken == []
    assert "452" in caplog.text
    assert cast.farrier.email not in caplog.text
    clock.move(minutes=1)
    worker.run_waiting()
    assert len(box.taken) == 1


def test_everybody_is_told_that_a_case_was_closed(database, case, clock, worker, box):
    cast, number = case
    with database.transaction() as session:
        vet = case_for(session, cast.vet.id, number)
        close_case(session, vet, "transferred", Words(None, NOW.date()), clock())
    worker.run_waiting()
    assert {each[0] for each in box.recipients} == {cast.farrier.email, cast.owner.email}
    assert {mail["Subject"] for mail in box.taken} == {f"Case {number}: the case was closed"}


def test_a_line_lost_after_the_mail_was_taken_gives_the_same_mail_again(
    database, case, clock, worker, box
):
    box.answers[:] = ["drop"]
    refer(database, case, clock)
    worker.run_waiting()
    clock.move(minutes=1)
    worker.run_waiting()
    assert len(box.taken) == 2
    assert len(set(box.ids())) == 1
    assert box.raw[0] == box.raw[1]
    assert [each.outcome for each in letters(database)] == ["sent"]


def coordinator_on(database, case):
    cast, number = case
    with database.transaction() as session:
        access = case_for(session, cast.vet.id, number)
        session.add(
            CaseMember(
                id=new_id(NOW),
                case_id=access.case_id,
                person_id=cast.other_vet.id,
                organisation_id=None,
                role=Role.COORDINATOR.value,
                since=NOW,
                until=None,
            )
        )
    return cast.other_vet.id


@pytest.mark.parametrize("way", ["to", "data"])
def test_an_address_refused_for_good_is_said_to_sender_and_coordinator(
    database, case, clock, worker, box, way
):
    coordinator = coordinator_on(database, case)
    (box.to_answers if way == "to" else box.answers).append("550 5.1.1 nobody here")
    refer(database, case, clock)
    worker.run_waiting()
    assert box.taken == []
    assert [each.outcome for each in letters(database)] == ["given_up"]
    assert lost(database) == {case[0].vet.id, coordinator}
    clock.move(hours=24)
    assert worker.run_waiting() == 0


def test_a_server_that_is_never_there_is_given_up_and_said(
    database, case, clock, make_worker, settings
):
    refer(database, case, clock)
    worker = make_worker(dataclasses.replace(settings, mail_port=1))
    for _ in range(MOST_ATTEMPTS):
        worker.run_waiting()
        clock.move(hours=10)
        assert lost(database) == set()
    worker.run_waiting()
    assert lost(database) == {case[0].vet.id}
    assert waiting_jobs(database) == []


@pytest.mark.parametrize(
    "email", ["no address at all", "zoë@example.org", "a@b.org\r\nbcc: c@d.org"]
)
def test_an_address_that_no_mail_can_go_to_is_given_up_at_once(
    database, case, clock, worker, box, email
):
    rename(database, case[0].farrier, email=email)
    refer(database, case, clock)
    worker.run_waiting()
    assert lost(database) == {case[0].vet.id}
    assert box.recipients == []


def test_without_a_mail_server_nothing_is_sent_now_or_when_there_is_one(
    database, case, clock, make_worker, settings, box
):
    refer(database, case, clock)
    make_worker(dataclasses.replace(settings, mail_host=None)).run_waiting()
    clock.move(hours=1)
    make_worker(settings).run_waiting()
    assert box.taken == []
    assert letters(database) == []


def test_who_left_the_case_or_the_house_gets_no_mail(database, case, clock, worker, box):
    refer(database, case, clock)
    leave(database, case[0].farrier)
    worker.run_waiting()
    assert box.taken == []
    flag(database, case, clock)
    rename(database, case[0].vet, revoked_at=NOW)
    worker.run_waiting()
    assert box.taken == []


def test_who_leaves_while_a_letter_waits_for_its_next_try_does_not_get_it(
    database, case, clock, worker, box
):
    box.answers[:] = ["451 busy"]
    refer(database, case, clock)
    worker.run_waiting()
    leave(database, case[0].farrier)
    clock.move(minutes=1)
    worker.run_waiting()
    assert box.taken == []
    assert [each.outcome for each in letters(database)] == ["not_needed"]
