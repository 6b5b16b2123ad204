"""Organisations, people, roles and passwords on a real database."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from sqlalchemy import select

from referral.accounts.models import OpenSession, Person, SignIn
from referral.accounts.passwords import FULL_COST, Passwords
from referral.accounts.queries import (
    actor_for_token,
    list_people,
    open_sessions,
    people_of,
    people_with_role,
    person_by_email,
    person_by_id,
)
from referral.accounts.service import (
    AddPerson,
    ChangePassword,
    add_membership,
    add_organisation,
    add_person,
    change_password,
    revoke_person,
    set_password,
)
from referral.accounts.sign_in import (
    FAILURES_OF_ONE_AT_ONE_PLACE,
    WAIT,
    WRONG,
    SignInTry,
    end_all_sessions,
    end_session,
    open_session,
    resume_session,
    sign_in,
)
from referral.errors import Invalid, NotFound
from referral.storage.ids import new_id
from tests.factories import (
    NOW,
    PASSWORD,
    PASSWORDS,
    a_cast,
    a_forge,
    a_person,
    a_practice,
    an_actor,
)


def a_try(email, password=PASSWORD, address="192.0.2.1"):
    return SignInTry(email, password, address, "a test browser")


@pytest.fixture
def cast(database):
    with database.transaction() as session:
        return a_cast(session)


def test_an_actor_carries_roles_and_organisations(database):
    with database.transaction() as session:
        practice = a_practice(session)
        person = a_person(session, "vet", practice)
        add_membership(session, person.id, "owner", None, NOW + timedelta(seconds=1))
        actor = an_actor(session, person, NOW + timedelta(seconds=2))
    assert actor.roles == ("vet", "owner")
    assert actor.organisation_ids == (practice.id,)
    assert actor.memberships[0].organisation_name == "Hollow Lane Vets"
    assert actor.memberships[0].kind == "practice"
    assert actor.is_authenticated
    assert actor.is_active
    assert not actor.is_anonymous
    assert actor.get_id() == str(actor.session_id)


def test_the_people_of_an_organisation_are_only_its_own_present_ones(database, cast):
    with database.transaction() as session:
        forge = session.get(Person, cast.farrier.id)
        gone = a_person(session, "farrier", a_forge(session, "Third Forge"))
        revoke_person(session, gone.id, NOW)
        assert [each.person_id for each in people_of(session, cast.forge_id)] == [forge.id]
        farriers = people_with_role(session, "farrier", select(Person.id))
        assert gone.id not in {each.person_id for each in farriers}
        assert len(farriers) == 2
        everybody = list_people(session)
    assert {each.person_id for each in everybody if each.is_revoked} == {gone.id}
    assert everybody[0].roles


@pytest.mark.parametrize(
    ("role", "kind"),
    [("vet", "forge"), ("farrier", "practice"), ("apprentice", "practice"), ("owner", "forge")],
)
def test_a_role_must_fit_the_organisation(database, role, kind):
    with database.transaction() as session:
        organisation = add_organisation(session, "Somewhere", kind, NOW)
        with pytest.raises(Invalid):
            a_person(session, role, organisation)


@pytest.mark.parametrize("role", ["vet", "farrier", "coordinator", "king", ""])
def test_only_an_owner_stands_alone(database, role):
    with database.transaction() as session, pytest.raises(Invalid):
        a_person(session, role)


def test_an_organisation_needs_a_name_and_a_kind(database):
    with database.transaction() as session:
        with pytest.raises(Invalid):
            add_organisation(session, "  ", "forge", NOW)
        with pytest.raises(Invalid):
            add_organisation(session, "Stable", "stable", NOW)
        assert add_organisation(session, " Two  Words ", "forge", NOW).name == "Two Words"


def test_an_email_is_kept_in_lower_case_and_belongs_to_one_person(database):
    with database.transaction() as session:
        person = a_person(session, email="Ann@Example.ORG")
        assert person.email == "ann@example.org"
        assert person_by_email(session, " ANN@example.org").id == person.id
        with pytest.raises(Invalid, match="already"):
            a_person(session, email="ann@EXAMPLE.org")


@pytest.mark.parametrize("email", ["", "ann", "a b@c", "@", "a@", "x" * 250 + "@e.org"])
def test_an_unusable_email_is_refused(database, email):
    with database.transaction() as session, pytest.raises(Invalid):
        add_person(session, PASSWORDS, AddPerson("Ann", email, "owner"), NOW)


def test_nobody_and_nothing_are_not_found(database):
    with database.reading() as session:
        with pytest.raises(NotFound):
            person_by_id(session, new_id(NOW))
        with pytest.raises(NotFound):
            person_by_email(session, "nobody@example.org")


@pytest.mark.parametrize(
    "password",
    [
        "fourteen chars",
        "passwordpassword",
        "Correct Horse Battery Staple",
        "aaaaaaaaaaaaaaaaaaaa",
        "ann hollow ann hollow",
        "ann.hollow@example.org",
        "x1y2z3" * 40,
    ],
)
def test_weak_passwords_are_refused(database, password):
    with database.transaction() as session, pytest.raises(Invalid) as caught:
        a_person(session, name="Ann Hollow", email="ann.hollow@example.org", password=password)
    assert list(caught.value.faults) == ["password"]


def test_a_password_is_kept_as_argon2id_at_the_recommended_cost():
    # Source: OWASP Password Storage Cheat Sheet: argon2id, m = 19456 KiB, t = 2, p = 1.
    full = Passwords(FULL_COST)
    kept = full.hash(PASSWORD)
    assert kept.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert full.matches(kept, PASSWORD)
    assert not full.matches(kept, PASSWORD + ".")
    assert not full.matches(None, PASSWORD)


def test_a_password_typed_in_another_composition_is_the_same():
    kept = PASSWORDS.hash("caf\u00e9 in the old yard")
    assert PASSWORDS.matches(kept, "cafe\u0301 in the old yard")


def test_signing_in_opens_a_session_whose_token_is_not_stored(database, cast):
    result = sign_in(database, PASSWORDS, a_try(cast.vet.email.upper()), NOW)
    assert result.token
    assert result.token not in repr(result)
    with database.reading() as session:
        actor = actor_for_token(session, result.token, NOW)
        row = session.scalars(select(OpenSession)).one()
        assert row.token_sha256 != result.token
        assert session.scalars(select(SignIn.ok)).all() == [True]
    assert actor is not None
    assert actor.person_id == cast.vet.id


def test_wrong_unknown_revoked_and_passwordless_are_answered_alike(database, cast):
    with database.transaction() as session:
        revoke_person(session, cast.owner.id, NOW)
        silent = a_person(session, password=None)
    answers = [
        sign_in(database, PASSWORDS, a_try(email, password), NOW)
        for email, password in [
            (cast.vet.email, "not the right one"),
            ("nobody@example.org", PASSWORD),
            (cast.owner.email, PASSWORD),
            (silent.email, ""),
        ]
    ]
    assert {(each.token, each.refusal, each.must_wait) for each in answers} == {
        (None, WRONG, False)
    }


def test_too_many_failures_make_even_the_right_password_wait(database, cast):
    for _ in range(FAILURES_OF_ONE_AT_ONE_PLACE):
        assert sign_in(database, PASSWORDS, a_try(cast.vet.email, "wrong"), NOW).refusal == WRONG
    later = NOW + timedelta(minutes=14)
    refused = sign_in(database, PASSWORDS, a_try(cast.vet.email), later)
    assert (refused.token, refused.refusal, refused.must_wait) == (None, WAIT, True)
    elsewhere = a_try(cast.vet.email, address="198.51.100.7")
    assert sign_in(database, PASSWORDS, elsewhere, later).token
    assert sign_in(database, PASSWORDS, a_try(cast.vet.email), NOW + timedelta(minutes=16)).token


def test_a_success_forgives_the_failures_before_it(database, cast):
    for minute in range(3):
        for _ in range(FAILURES_OF_ONE_AT_ONE_PLACE - 1):
            now = NOW + timedelta(minutes=minute)
            sign_in(database, PASSWORDS, a_try(cast.vet.email, "wrong"), now)
        now = NOW + timedelta(minutes=minute, seconds=30)
        assert sign_in(database, PASSWORDS, a_try(cast.vet.email), now).token


def test_many_guesses_at_once_gain_nothing(database, cast):
    with ThreadPoolExecutor(8) as pool:
        answers = list(
            pool.map(
                lambda _: sign_in(database, PASSWORDS, a_try(cast.vet.email, "wrong"), NOW),
                range(16),
            )
        )
    with database.reading() as session:
        counted = len(session.scalars(select(SignIn.id)).all())
    assert counted == sum(each.refusal == WRONG for each in answers)
    assert sign_in(database, PASSWORDS, a_try(cast.vet.email), NOW).must_wait


def test_one_address_may_not_try_many_people(database, cast):
    for number in range(60):
        sign_in(database, PASSWORDS, a_try(f"guess{number}@example.org", "wrong"), NOW)
    assert sign_in(database, PASSWORDS, a_try(cast.vet.email), NOW).must_wait


def test_a_session_dies_when_idle_for_an_hour_and_is_kept_alive_by_use(database, cast):
    with database.transaction() as session:
        token = open_session(session, cast.vet.id, "a test", NOW)
    assert resume_session(database, token, NOW + timedelta(minutes=59))
    assert resume_session(database, token, NOW + timedelta(minutes=118))
    assert resume_session(database, token, NOW + timedelta(minutes=178)) is None


def test_a_session_dies_after_twelve_hours_even_in_use(database, cast):
    with database.transaction() as session:
        token = open_session(session, cast.vet.id, "a test", NOW)
    for half_hours in range(1, 24):
        assert resume_session(database, token, NOW + timedelta(minutes=30 * half_hours))
    assert resume_session(database, token, NOW + timedelta(hours=12)) is None


def test_revoking_ends_sessions_and_leaves_what_was_written(database, cast):
    with database.transaction() as session:
        token = open_session(session, cast.vet.id, "a test", NOW)
    with database.transaction() as session:
        revoke_person(session, cast.vet.id, NOW)
        revoke_person(session, cast.vet.id, NOW + timedelta(days=1))
    with database.reading() as session:
        assert actor_for_token(session, token, NOW) is None
        person = person_by_id(session, cast.vet.id)
        assert (person.revoked_at, person.name) == (NOW, cast.vet.name)


def test_a_former_membership_gives_no_role(database):
    with database.transaction() as session:
        person = a_person(session, "vet", a_practice(session))
        second = add_membership(session, person.id, "owner", None, NOW)
        second.until = NOW + timedelta(days=1)
        session.flush()
        assert set(an_actor(session, person, NOW).roles) == {"vet", "owner"}
        assert an_actor(session, person, NOW + timedelta(days=1)).roles == ("vet",)


def test_one_ends_only_ones_own_sessions(database, cast):
    with database.transaction() as session:
        mine = an_actor(session, session.get(Person, cast.vet.id))
        theirs = an_actor(session, session.get(Person, cast.farrier.id))
        with pytest.raises(NotFound):
            end_session(session, mine, theirs.session_id, NOW)
        end_session(session, mine, mine.session_id, NOW)
        end_session(session, mine, mine.session_id, NOW + timedelta(hours=1))
        assert session.get_one(OpenSession, mine.session_id).ended_at == NOW
        assert open_sessions(session, mine, NOW) == ()
        assert len(open_sessions(session, theirs, NOW)) == 1


def test_a_changed_password_ends_all_other_sessions(database, cast):
    with database.transaction() as session:
        person = session.get(Person, cast.vet.id)
        an_actor(session, person)
        actor = an_actor(session, person)
    new = "eight nails in the grass"
    change_password(database, PASSWORDS, actor, ChangePassword(PASSWORD, new, "192.0.2.1"), NOW)
    with database.reading() as session:
        assert [each.session_id for each in open_sessions(session, actor, NOW)] == [
            actor.session_id
        ]
    assert sign_in(database, PASSWORDS, a_try(cast.vet.email), NOW).refusal == WRONG
    assert sign_in(database, PASSWORDS, a_try(cast.vet.email, new), NOW).token


def test_guessing_the_present_password_is_counted(database, cast):
    with database.transaction() as session:
        actor = an_actor(session, session.get(Person, cast.vet.id))
    guess = ChangePassword("a guess of mine", "eight nails in the grass", "192.0.2.1")
    for _ in range(FAILURES_OF_ONE_AT_ONE_PLACE):
        with pytest.raises(Invalid, match="not your present password"):
            change_password(database, PASSWORDS, actor, guess, NOW)
    with pytest.raises(Invalid, match="Too many"):
        change_password(database, PASSWORDS, actor, guess, NOW)


def test_an_operator_sets_a_password_and_every_session_ends(database, cast):
    with database.transaction() as session:
        actor = an_actor(session, session.get(Person, cast.vet.id))
        set_password(session, PASSWORDS, cast.vet.id, "eight nails in the grass", NOW)
        assert open_sessions(session, actor, NOW) == ()
        with pytest.raises(Invalid):
            set_password(session, PASSWORDS, cast.vet.id, "short", NOW)


def test_ending_all_sessions_leaves_those_of_others(database, cast):
    with database.transaction() as session:
        mine = an_actor(session, session.get(Person, cast.vet.id))
        theirs = an_actor(session, session.get(Person, cast.farrier.id))
        end_all_sessions(session, mine.person_id, NOW)
        assert open_sessions(session, mine, NOW) == ()
        assert len(open_sessions(session, theirs, NOW)) == 1
