"""A red flag that was managed until a day is told of on the day after, once, by the yard's clock.

Moments in UTC are worked out by hand from the zones' offsets as the IANA database gives them:
London 0 (summer +1 from 28 March 2027), Auckland +13 in December, New York -5, Kolkata +5:30.
"""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import pytest
from sqlalchemy import select, update

from referral.accounts.models import Organisation
from referral.cases.models import Case
from referral.cases.queries import case_for
from referral.cases.remarks import AnswerFlag, answer_flag, close_case
from referral.cases.service import Words
from referral.notices.models import Notice
from referral.notices.policy import FLAG_LAPSED
from tests.factories import NOW, a_person
from tests.features.notices.moves import flag, rename, wish
from tests.features.notices.post import part_of

LAST = date(2026, 12, 1)


def answered(database, case, clock, answer="managed", until=LAST):
    """Answer the case's only red flag."""
    cast, number = case
    with database.transaction() as session:
        vet = case_for(session, cast.vet.id, number, clock())
        (found,) = vet.state.live_flags | set(vet.state.managed)
        said = AnswerFlag(UUID(found), answer, "Poulticed", until, clock().date(), "No hard ground")
        answer_flag(session, vet, said, clock())


def managed(database, case, clock, zone="Europe/London", until=LAST):
    with database.transaction() as session:
        session.execute(update(Case).values(zone=zone))
    flag(database, case, clock)
    answered(database, case, clock, until=until)


def told(database, case):
    cast, _number = case
    names = {cast.vet.id: "vet", cast.farrier.id: "farrier", cast.owner.id: "owner"}
    with database.reading() as session:
        rows = session.scalars(select(Notice.person_id).where(Notice.kind == FLAG_LAPSED)).all()
    return sorted(names.get(each, "office") for each in rows)


def at(clock, moment):
    clock.now = moment


@pytest.mark.parametrize(
    ("zone", "until", "moment"),
    [
        ("Europe/London", LAST, datetime(2026, 12, 2, 7, tzinfo=UTC)),
        ("Pacific/Auckland", LAST, datetime(2026, 12, 1, 18, tzinfo=UTC)),
        ("America/New_York", LAST, datetime(2026, 12, 2, 12, tzinfo=UTC)),
        ("Asia/Kolkata", LAST, datetime(2026, 12, 2, 1, 30, tzinfo=UTC)),
        # the night in which London's clocks go forward
        ("Europe/London", date(2027, 3, 27), datetime(2027, 3, 28, 6, tzinfo=UTC)),
    ],
)
def test_vet_and_farrier_are_told_on_the_morning_after_the_last_day(
    database, case, clock, worker, zone, until, moment
):
    managed(database, case, clock, zone, until)
    at(clock, moment - timedelta(seconds=1))
    worker.run_waiting()
    assert told(database, case) == []
    at(clock, moment)
    for _again in range(3):
        worker.run_waiting()
        clock.move(days=1)
    assert told(database, case) == ["farrier", "vet"]


def test_a_worker_that_was_down_on_the_day_tells_when_it_is_back_and_once(
    database, case, clock, make_worker, settings
):
    managed(database, case, clock)
    at(clock, datetime(2026, 12, 9, 15, tzinfo=UTC))
    for _worker in range(2):
        make_worker(settings).run_waiting()
    assert told(database, case) == ["farrier", "vet"]


@pytest.mark.parametrize("how", ["resolved", "managed on", "managed anew until the same day"])
def test_nobody_is_told_where_the_flag_was_answered_anew(database, case, clock, worker, how):
    managed(database, case, clock)
    clock.move(hours=2)
    if how == "resolved":
        answered(database, case, clock, "resolved", None)
    else:
        answered(database, case, clock, until=LAST if "same" in how else date(2026, 12, 20))
    at(clock, datetime(2026, 12, 2, 9, tzinfo=UTC))
    worker.run_waiting()
    assert told(database, case) == (["farrier", "vet"] if "same" in how else [])
    at(clock, datetime(2026, 12, 21, 9, tzinfo=UTC))
    worker.run_waiting()
    assert told(database, case) == ([] if how == "resolved" else ["farrier", "vet"])


def test_nobody_is_told_of_a_closed_case(database, case, clock, worker):
    cast, number = case
    managed(database, case, clock)
    with database.transaction() as session:
        vet = case_for(session, cast.vet.id, number, clock())
        close_case(session, vet, "improved", Words(None, NOW.date()), clock())
    at(clock, datetime(2026, 12, 2, 9, tzinfo=UTC))
    worker.run_waiting()
    assert told(database, case) == []


def test_it_goes_out_as_mail_that_cannot_be_turned_off_and_names_no_horse(
    database, case, clock, worker, box
):
    cast, number = case
    with database.transaction() as session:
        practice = session.get(Organisation, cast.practice_id)
        office = a_person(session, "coordinator", practice, email="office@example.org")
        session.flush()
        session.expunge(office)
    wish(database, cast.vet, clock, without=frozenset({"red_flag"}), daily=True)
    managed(database, case, clock)
    worker.run_waiting()
    box.taken.clear()
    box.recipients.clear()
    at(clock, datetime(2026, 12, 2, 7, tzinfo=UTC))
    worker.run_waiting()
    subjects = {to[0]: mail["Subject"] for to, mail in zip(box.recipients, box.taken, strict=True)}
    assert set(subjects) == {cast.vet.email, cast.farrier.email, "office@example.org"}
    assert subjects[cast.vet.email].startswith(f"Case {number}: a red flag is live again")
    assert subjects["office@example.org"].startswith("A case of your organisation’s: a red flag is")
    for mail in box.taken:
        assert "Marrow" not in part_of(mail, "plain")
    theirs = next(mail for mail in box.taken if mail["To"].addresses[0].username == "office")
    assert "/cases/" not in part_of(theirs, "plain") + part_of(theirs, "html")
    assert "https://referral.example.org/notices" in part_of(theirs, "plain")


def test_whoever_was_revoked_gets_no_mail_of_it(database, case, clock, worker, box):
    cast, _number = case
    managed(database, case, clock)
    worker.run_waiting()
    box.recipients.clear()
    rename(database, cast.vet, revoked_at=NOW)
    at(clock, datetime(2026, 12, 2, 7, tzinfo=UTC))
    worker.run_waiting()
    assert box.recipients == [[cast.farrier.email]]
