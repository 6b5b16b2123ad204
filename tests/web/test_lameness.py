"""How lame the horse goes: graded on a named scale, followed over the visits, never converted.

The scales' ends are those of the scales themselves: 0 to 5, 0 to 10, Obel 0 to 4.
"""

import re

import pytest
from sqlalchemy import select

from referral.cases.lameness import alarm_of
from referral.plans.models import FindingRow
from tests.web.yard import PLAN, TODAY, a_yard, words_of

GRADE = {"limb": "LF", "scale": "aaep", "grade": "2", "gait": "trot_straight"}
PATH = "/notes/lameness"


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def grade(yard, **changed):
    return yard.send("vet", f"{PATH}/new", PATH, {**GRADE, "happened_on": TODAY, **changed})


def facts(**changed):
    return {"limb": "LF", "scale": "aaep", "grade": 2.0, "gait": "trot_straight", **changed}


@pytest.mark.parametrize(
    ("scale", "typed", "says"),
    [
        ("aaep", "6", "This scale ends at 5"),
        ("obel", "4.5", "This scale ends at 4"),
        ("uk", "10.5", "This scale ends at 10"),
        ("uk", "2.3", "Whole grades or halves."),
        ("uk", "-1", "Between 0 and 12"),
        ("uk", "bad", "number"),
    ],
)
def test_a_grade_that_its_scale_does_not_have_is_refused_at_its_field(yard, scale, typed, says):
    before = yard.rows()
    answer = grade(yard, scale=scale, grade=typed)
    assert answer.status_code == 422
    beside = answer.text.partition('id="grade-fault"')[2].partition("</p>")[0]
    assert says in beside
    assert f'value="{typed}"' in answer.text
    assert yard.rows() == before


@pytest.mark.parametrize(
    ("now", "before", "is_alarm"),
    [
        (facts(grade=5.0), [], True),  # does not bear weight
        (facts(scale="uk", grade=9.0), [], True),
        (facts(scale="obel", grade=3.0), [], True),
        (facts(grade=3.0), [facts(grade=2.0)], True),  # worse by one of five
        (facts(grade=2.5), [facts(grade=2.0)], False),
        (facts(scale="uk", grade=6.0), [facts(scale="uk", grade=4.0)], True),  # by two of ten
        (facts(scale="uk", grade=6.0), [facts(grade=1.0)], False),  # scales are not compared
        (facts(grade=3.0, gait="walk"), [facts(grade=1.0)], False),  # nor a walk with a trot
        (facts(grade=3.0), [facts(grade=1.0, limb="RF")], False),
        (facts(scale="modified_obel", grade=12.0), [], False),  # no figure, so none is claimed
    ],
)
def test_what_calls_for_a_red_flag(now, before, is_alarm):
    """Not bearing weight, or worse by one of five or two of ten: common practice, no source."""
    assert bool(alarm_of(now, before)) is is_alarm


def test_a_horse_that_bears_no_weight_leads_to_the_red_flag(yard):
    answer = grade(yard, grade="5")
    assert answer.status_code == 303
    assert answer.location.endswith("/red-flags/new")
    page = words_of(yard.open("vet", "/red-flags/new"))
    assert "So lame, or so much lamer, is a red flag" in page
    assert "graded the lameness of LF: 5 on the scale" in words_of(yard.open("vet"))


def test_grades_stand_over_the_visits_each_scale_by_itself(yard):
    grade(yard, happened_on="2026-11-02")
    grade(yard, grade="1.5", happened_on="2026-11-20")
    grade(yard, scale="uk", grade="4", happened_on="2026-11-21")
    drug = {"medication": "anti_inflammatory", "words": "By mouth", "wears_off_on": "2026-11-22"}
    notes = "/notes/medication"
    yard.send("vet", f"{notes}/new", notes, {**drug, "happened_on": "2026-11-19"})
    tables = yard.open("farrier", "/trends").text.split("<table")[1:]
    five, ten = (
        plain(next(each for each in tables if name in each.partition("</caption>")[0]))
        for name in ("0 to 5 (AAEP)", "0 to 10 (United Kingdom)")
    )
    assert "2 Nov 2026 2 Trot in hand, straight 20 Nov 2026 1.5" in five
    assert "may have hidden pain" not in five.partition("1.5")[0]
    assert "may have hidden pain" in five.partition("1.5")[2]
    assert " 4 Trot" in ten
    assert "1.5" not in ten


def plain(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


@pytest.mark.parametrize(
    ("scale", "answer"),
    [("aaep", ("WITHIN", "one_scale")), ("obel", ("OUTSIDE", "scales_mixed"))],
)
def test_a_plan_is_told_where_two_scales_stand_beside_each_other(yard, database, scale, answer):
    yard.refer()
    grade(yard, happened_on="2026-11-02")
    grade(yard, scale=scale, grade="1", happened_on="2026-11-20")
    yard.submit(**PLAN)
    with database.reading() as session:
        found = select(FindingRow.verdict, FindingRow.reason).where(FindingRow.rule == "R25")
        assert session.execute(found).one() == answer
