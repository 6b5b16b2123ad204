"""What an office is told: what waits on its people, as far as the diary shows, and no more."""

import pytest
from sqlalchemy import select

from referral.accounts.models import Membership, Organisation
from referral.cases.models import CaseMember
from tests.factories import a_person
from tests.web.yard import a_yard, words_of

FLAG = {"sign": "penetrating_object", "limb": "LF", "words": "A nail by the frog"}


@pytest.fixture
def yard(app, database):
    found = a_yard(app, database)
    found.refer()
    with database.transaction() as session:
        for name, organisation in (
            ("office", found.cast.practice_id),
            ("forge_office", found.cast.forge_id),
        ):
            where = session.get(Organisation, organisation)
            found.emails[name] = a_person(session, "coordinator", where).email
        far = session.merge(found.cast.other_vet)
        stranger = a_person(session, "coordinator", far_practice(session, far.id))
        found.emails["other_office"] = stranger.email
    return found


def far_practice(session, person_id):
    row = session.scalars(select(Membership).where(Membership.person_id == person_id)).one()
    return session.get(Organisation, row.organisation_id)


def told(yard, who):
    return words_of(yard.browser(who).get("/notices"))


def test_a_red_flag_is_told_to_the_offices_of_vet_and_farrier_and_to_no_other(yard):
    yard.done("owner", "/red-flags/new", "/red-flags", FLAG)
    for who, colleague in (("office", "vet"), ("forge_office", "farrier")):
        said = told(yard, who)
        assert f"Marrow, a case of {getattr(yard.cast, colleague).name}" in said
        assert "A red flag was raised and waits for the vet’s answer" in said
        for clinical in ("nail", "penetrating", "LF", "left fore", yard.cast.owner.name):
            assert clinical not in said
    assert "Nothing yet" in told(yard, "other_office")
    assert told(yard, "coordinator").count("raised a red flag") == 1  # on the case: with its words


def test_an_office_has_no_way_into_the_case(yard):
    yard.done("owner", "/red-flags/new", "/red-flags", FLAG)
    for who in ("office", "forge_office", "other_office"):
        page = yard.browser(who).get("/notices")
        assert yard.home not in page.text
        for path in ("", "/summary", "/trends", "/members/new", "/handed-over"):
            assert yard.open(who, path).status_code == 404


def test_a_question_is_told_to_the_practices_office_and_not_to_the_forges(yard):
    yard.done("farrier", "/questions/new", "/questions", {"words": "Is the bar wanted?"})
    said = told(yard, "office")
    assert "A question of the farrier’s waits for the vet" in said
    assert "bar" not in said
    assert "question" not in told(yard, "forge_office")


def test_a_referral_was_told_to_the_forges_office(yard):
    assert "Nothing yet" in told(yard, "office")
    again = {"limbs": "LF", "urgency": "routine", "goals": "Palmar angle up to 3° by spring"}
    yard.done("vet", "/referrals/new", "/referrals", again)
    assert "A referral waits to be acknowledged" in told(yard, "forge_office")
    assert "Nothing yet" in told(yard, "office")


def test_an_office_whose_people_have_left_the_case_is_shown_nothing_of_it(yard):
    yard.done("owner", "/red-flags/new", "/red-flags", FLAG)
    with yard.database.transaction() as session:
        for row in session.scalars(
            select(CaseMember).where(CaseMember.organisation_id == yard.cast.forge_id)
        ):
            row.until = row.since
    said = told(yard, "forge_office")
    assert "About a case that you have no part in any more" in said
    assert "Marrow" not in said


def test_whoever_coordinates_and_makes_the_move_is_not_told_of_it(yard):
    yard.done("coordinator", "/red-flags/new", "/red-flags", FLAG)
    assert "raised a red flag" not in told(yard, "coordinator")
    assert "A red flag was raised" in told(yard, "office")
