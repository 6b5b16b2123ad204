"""When mail goes out: quiet hours, the daily mail, and the two days a year with a clock change."""

import re

from sqlalchemy import update

from referral.cases.queries import case_for
from referral.notices.models import Notice
from referral.notices.policy import Topic
from tests.factories import typed_readings
from tests.features.notices.moves import flag, refer, wish
from tests.features.notices.post import part_of, waiting_jobs


def test_quiet_hours_over_the_change_of_clocks_and_a_red_flag_through_them(
    database, case, clock, worker, box
):
    cast, _number = case
    wish(database, cast.farrier, clock, zone="Europe/London", quiet_from=22, quiet_until=7)
    clock.now = clock.now.replace(year=2026, month=10, day=24, hour=21, minute=30)  # 22:30 BST
    refer(database, case, clock)
    worker.run_waiting()
    assert box.taken == []
    flag(database, case, clock)
    worker.run_waiting()
    assert sorted(each[0] for each in box.recipients) == sorted(
        [cast.vet.email, cast.farrier.email]
    )
    assert all("red flag" in each["Subject"] for each in box.taken)
    clock.now = clock.now.replace(day=25, hour=6, minute=59)  # 06:59 GMT
    worker.run_waiting()
    assert len(box.taken) == 2
    clock.move(minutes=1)
    worker.run_waiting()
    assert len(box.taken) == 3


def test_a_digest_gathers_what_is_new_and_is_not_sent_when_nothing_is(
    database, case, clock, worker, box
):
    cast, number = case
    wish(database, cast.farrier, clock, daily=True, daily_hour=17)
    refer(database, case, clock)
    clock.move(hours=1)
    with database.transaction() as session:
        vet = case_for(session, cast.vet.id, number)
        typed_readings(session, vet, clock())
    worker.run_waiting()
    assert box.taken == []
    clock.now = clock.now.replace(hour=17)
    worker.run_waiting()
    assert len(box.taken) == 1
    assert box.taken[0]["Subject"] == f"Case {number}: 2 things are new"
    clock.move(days=1)
    worker.run_waiting()
    assert len(box.taken) == 1
    with database.transaction() as session:
        typed_readings(session, case_for(session, cast.vet.id, number), clock())
        session.execute(update(Notice).values(read_at=clock()))  # seen before the hour comes
    clock.move(days=2)
    worker.run_waiting()
    assert len(box.taken) == 1
    assert waiting_jobs(database) == []


def test_mail_on_a_topic_ends_and_red_flags_do_not_for_who_must_act(
    database, case, clock, worker, box
):
    cast, _number = case
    for person in (cast.vet, cast.farrier, cast.owner):
        wish(database, person, clock, without=frozenset(Topic))
    refer(database, case, clock)
    worker.run_waiting()
    assert box.taken == []
    flag(database, case, clock, who="vet")
    worker.run_waiting()
    assert box.recipients == [[cast.farrier.email]]
    mail = box.taken[0]
    assert mail["List-Unsubscribe"] is None
    assert "cannot be turned off" in part_of(mail, "plain")
    assert not re.search("unsubscribe/", part_of(mail, "html"))
