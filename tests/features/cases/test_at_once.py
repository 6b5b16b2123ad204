"""Two verbs at once whose rows overlap: nobody waits for ever, one wins, the other is told why."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.cases.handing import NOT_THEIRS, HandOver, hand_over
from referral.cases.joining import add_member
from referral.cases.mending import CorrectOwner, correct_owner
from referral.cases.models import CaseMember, Entry
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from referral.core.workflow import Move, Role, Stage
from referral.errors import Invalid, NotFound, ReferralError
from referral.horses.models import Horse
from referral.horses.service import MendOwner
from referral.notices.models import Notice
from referral.notices.policy import RECHECK_LATE
from referral.plans.models import Consent
from referral.resets.models import Recheck
from referral.resets.rechecks import OWNER, SetRecheck, remind, set_recheck
from referral.sheets.models import Signature
from tests.factories import NOW, a_case, a_cast, a_person
from tests.features.resets.story import a_story

ROUNDS = range(3)
"""Which of two comes first is chance: a few rounds see more of it."""


def at_once(*works):
    """Do these at the same moment, and return what each gave or was refused with."""
    start = Barrier(len(works))

    def one(work):
        start.wait()
        try:
            return work()
        except ReferralError as error:
            return error

    with ThreadPoolExecutor(len(works)) as pool:
        return list(pool.map(one, works))


@pytest.fixture
def case(database):
    """The cast and the number of their case."""
    with database.transaction() as session:
        cast = a_cast(session)
        number = a_case(session, cast)
        session.flush()
        session.expunge_all()
    return cast, number


def people(session, cast, role, count):
    """Add people of the cast's practice or forge, and return their ids."""
    practice = role in ("vet", "office")
    place = session.get_one(Organisation, cast.practice_id if practice else cast.forge_id)
    return [a_person(session, role, place).id for _ in range(count)]


def on_as(session, case_id, role):
    query = select(CaseMember.person_id).where(
        CaseMember.case_id == case_id, CaseMember.role == role, CaseMember.until.is_(None)
    )
    return session.scalars(query).all()


def kinds(session, case_id):
    assert list(chain_faults(session, case_id)) == []
    return session.scalars(select(Entry.kind).where(Entry.case_id == case_id)).all()


@pytest.mark.parametrize("_round", ROUNDS)
def test_of_two_coordinators_who_hand_one_part_over_one_does(database, case, _round):
    cast, number = case
    farrier = cast.farrier.id
    with database.transaction() as session:
        case_id = case_for(session, cast.vet.id, number).case_id
        offices = people(session, cast, "coordinator", 2)
        comers = people(session, cast, "farrier", 2)
        for each in offices:
            add_member(session, case_id, each, Role.COORDINATOR, cast.forge_id, NOW)

    def hand(place):
        given = HandOver(Role.FARRIER, farrier, comers[place], NOW.date(), "Away")
        with database.transaction() as session:
            hand_over(session, case_for(session, offices[place], number), given, NOW)

    answers = at_once(lambda: hand(0), lambda: hand(1))
    (refused,) = [each for each in answers if each is not None]
    assert isinstance(refused, Invalid)
    assert refused.faults == {"part": [NOT_THEIRS]}
    with database.reading() as session:
        assert on_as(session, case_id, "farrier") == [comers[answers.index(None)]]
        assert kinds(session, case_id).count(Move.HAND_OVER) == 1


@pytest.fixture
def story(database, tmp_path):
    """A case whose plan the vet has agreed to and signed: the farrier signs next."""
    found = a_story(database, tmp_path)
    found.refer()
    found.submit()
    found.sign_first("vet", found.propose_agreement(found.agreement(1)))
    return found


@pytest.mark.parametrize("_round", ROUNDS)
def test_who_leaves_while_they_sign_has_signed_or_has_not(database, story, _round):
    with database.transaction() as session:
        (comes,) = people(session, story.cast, "farrier", 1)
        case_id = story.access(session, "vet").case_id
        before = len(session.scalars(select(Signature.id)).all())

    def leave():
        given = HandOver(Role.FARRIER, story.cast.farrier.id, comes, story.today, "Away")
        with database.transaction() as session:
            hand_over(session, story.access(session, "farrier"), given, story.now)

    signed, left = at_once(story.sign_plan, leave)
    assert left is None
    with database.reading() as session:
        made = len(session.scalars(select(Signature.id)).all()) - before
        stage = case_for(session, comes, story.number).state.stage
        signings = kinds(session, case_id).count(Move.SIGN_PLAN)
        assert on_as(session, case_id, "farrier") == [comes]
    is_refused = isinstance(signed, NotFound)
    expected = (0, 0, Stage.SIGNING) if is_refused else (1, 1, Stage.CONSENT)
    assert (made, signings, stage) == expected


@pytest.mark.parametrize("_round", ROUNDS)
def test_consent_while_its_giver_is_corrected_is_refused_or_falls(database, story, _round):
    story.sign_plan()
    with database.transaction() as session:
        vet = story.access(session, "vet")
        session.get_one(Horse, vet.horse_id).owner_id = story.cast.owner.id
        case_id = vet.case_id

    def correct():
        owner = MendOwner("Ann Vale", "ann@example.org")
        given = CorrectOwner(story.number, owner, "Another Ann", story.today, None)
        with database.transaction() as session:
            correct_owner(session, story.access(session, "vet"), given, story.now)

    consented, corrected = at_once(lambda: story.consent(1), correct)
    assert corrected is None
    with database.reading() as session:
        kept = session.scalars(select(Consent.id)).all()
        assert kinds(session, case_id).count(Move.GIVE_CONSENT) == len(kept)
        assert story.access(session, "vet").state.stage is Stage.CONSENT
        assert on_as(session, case_id, "owner") == []
    assert isinstance(consented, NotFound) == (kept == [])


@pytest.mark.parametrize("_round", ROUNDS)
def test_a_late_recheck_tells_one_who_has_the_part_while_it_is_handed_over(database, case, _round):
    cast, number = case
    vet = cast.vet.id
    due = SetRecheck(NOW.date(), Role.VET.value, vet, None, None, NOW.date())
    with database.transaction() as session:
        (comes,) = people(session, cast, "vet", 1)
        set_recheck(session, case_for(session, vet, number), due, NOW)
        recheck = session.scalars(select(Recheck.id)).one()
        case_id = case_for(session, vet, number).case_id
    late = NOW + timedelta(days=30)

    def tell():
        with database.transaction() as session:
            remind(session, recheck, OWNER, late)

    def leave():
        given = HandOver(Role.VET, vet, comes, late.date(), "Away")
        with database.transaction() as session:
            hand_over(session, case_for(session, vet, number), given, late)

    assert at_once(tell, leave) == [None, None]
    with database.reading() as session:
        told = select(Notice.person_id).where(Notice.kind == RECHECK_LATE)
        assert session.scalars(told).all() in ([vet], [comes])
        assert on_as(session, case_id, "vet") == [comes]
        assert kinds(session, case_id).count(Move.HAND_OVER) == 1
