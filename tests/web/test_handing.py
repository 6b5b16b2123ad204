"""A vet's or a farrier's part is handed over: who sees what, whose turn, what stays whose."""

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.cases.models import CaseMember
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from tests.factories import a_person
from tests.web.yard import TODAY, a_yard, words_of

LIMIT = {"measure": "sole_depth_tip_mm", "at_least": "10"}


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    with database.transaction() as session:
        for name, role, organisation in (
            ("ivo", "farrier", yard.cast.forge_id),
            ("una", "vet", yard.cast.practice_id),
        ):
            where = session.get(Organisation, organisation)
            person = a_person(session, role, where, name=f"{name.title()} Rand")
            yard.emails[name] = person.email
            setattr(yard, f"{name}_id", person.id)
    return yard


def handed(yard, who="farrier", to="ivo", **changed):
    role = {"ivo": "farrier", "una": "vet"}[to]
    part = f"{role}.{getattr(yard.cast, role).id}"
    said = {
        "part": part,
        "to_id": str(getattr(yard, f"{to}_id")),
        "from_on": TODAY,
        "reason": "Moves to the coast",
        **changed,
    }
    return yard.send(who, "/hand-overs/new", "/hand-overs", said)


def test_whoever_takes_a_part_over_sees_the_whole_case_has_its_turn_and_is_told(yard):
    yard.submit()
    yard.done("vet", "/plans/1", "/plans/1/returns", {"words": "Less toe, please"})
    assert yard.browser("ivo").get(yard.home).status_code == 404
    assert handed(yard).location == f"{yard.home}/handed-over"
    page = words_of(yard.open("ivo"))
    for said in ("Write the plan", "It is your turn", "acknowledged the referral", "Moves to the"):
        assert said in page
    told = words_of(yard.browser("ivo").get("/notices")).replace("&#39;", "'")
    assert "handed the farrier's part over" in told
    assert f"{yard.cast.farrier.name}, " in words_of(yard.open("ivo", "/plans/1"))
    assert "Waiting on you 1" in words_of(yard.browser("ivo").get("/"))
    yard.browsers["farrier"], yard.emails["farrier"] = yard.browser("ivo"), yard.emails["ivo"]
    yard.submit()
    with yard.database.reading() as session:
        access = case_for(session, yard.cast.vet.id, yard.number)
        assert access.state.plan_n == 2
        assert list(chain_faults(session, access.case_id)) == []


def test_whoever_hands_over_reads_the_case_up_to_then_and_nothing_after(yard):
    yard.submit()
    assert handed(yard).status_code == 303
    yard.limit(**LIMIT)
    assert yard.open("farrier").status_code == 404
    assert yard.open("farrier", "/plans/1").status_code == 404
    past = yard.open("farrier", "/handed-over")
    words = words_of(past).replace("&#39;", "'")
    for said in (
        "You handed this case over to Ivo Rand, 25 Nov 2026",
        "Plan 1, 25 Nov 2026",
        "Off the toe 4 mm",
        "submitted plan 1",
        "handed the farrier's part over",
    ):
        assert said in words
    assert "set a limit: sole depth" not in words
    desk = words_of(yard.browser("farrier").get("/"))
    assert f"Handed over 1 Marrow, case {yard.number} to Ivo Rand" in desk
    before = yard.rows()
    seen = {"about": "landing", "words": "Toe first"}
    assert yard.browser("farrier").post(f"{yard.home}/observations", seen).status_code == 404
    assert yard.rows() == before
    for who in ("vet", "ivo", "owner", "other_farrier", "una"):
        assert yard.open(who, "/handed-over").status_code == 404


def test_a_vets_part_goes_with_its_turn_and_the_agreement_stays_whose_it_was(yard):
    yard.submit()
    assert handed(yard, "vet", "una").status_code == 303
    assert "Review plan 1" in words_of(yard.open("una"))
    assert yard.open("vet").status_code == 404
    assert yard.cast.vet.name in words_of(yard.open("una")).partition("Timeline")[2]


def test_a_coordinator_hands_over_for_a_colleague_and_for_nobody_else(yard):
    with yard.database.transaction() as session:
        for row in session.scalars(select(CaseMember).where(CaseMember.role == "coordinator")):
            row.organisation_id = yard.cast.practice_id
    page = words_of(yard.open("coordinator", "/hand-overs/new"))
    assert f"{yard.cast.vet.name}, vet" in page
    assert f"{yard.cast.farrier.name}, farrier" not in page.partition("Who takes it over")[0]
    assert handed(yard, "coordinator", "ivo").status_code == 422
    assert handed(yard, "coordinator", "una").location == yard.home
    assert yard.open("vet", "/handed-over").status_code == 200


def test_a_part_comes_back_to_whoever_had_it(yard):
    assert handed(yard).status_code == 303
    back = {
        "part": f"farrier.{yard.ivo_id}",
        "to_id": str(yard.cast.farrier.id),
        "from_on": TODAY,
        "reason": "Back again",
    }
    yard.done("ivo", "/hand-overs/new", "/hand-overs", back)
    assert yard.open("farrier").status_code == 200
    assert yard.open("farrier", "/handed-over").status_code == 404
    assert yard.open("ivo", "/handed-over").status_code == 200


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"reason": ""}, "reason"),
        ({"from_on": "2026-12-01"}, "from_on"),
        ({"to_id": "00000000-0000-4000-8000-000000000000"}, "to_id"),
        ({"part": "vet.00000000-0000-4000-8000-000000000000"}, "part"),
        ({"part": "owner"}, "part"),
    ],
)
def test_a_hand_over_that_cannot_be_is_refused_beside_its_field(yard, changed, field):
    before = yard.rows()
    answer = handed(yard, **changed)
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert yard.rows() == before


@pytest.mark.parametrize(
    ("who", "colleague", "to", "said"),
    [
        ("vet", "una", "farrier", "is a farrier; the vet’s part goes to a vet."),
        ("farrier", "ivo", "vet", "is a vet; the farrier’s part goes to a farrier."),
    ],
)
def test_a_part_offered_to_the_other_trade_is_refused_with_why(yard, who, colleague, to, said):
    before = yard.rows()
    other = getattr(yard.cast, to)
    answer = handed(yard, who, colleague, to_id=str(other.id))
    assert answer.status_code == 422
    assert f"{other.name} {said}" in words_of(answer)
    assert yard.rows() == before


def test_nobody_hands_a_part_to_a_stranger_or_to_themselves(yard):
    before = yard.rows()
    for person in (yard.cast.other_farrier, yard.cast.farrier, yard.cast.vet):
        assert handed(yard, to_id=str(person.id)).status_code == 422
    assert yard.rows() == before
