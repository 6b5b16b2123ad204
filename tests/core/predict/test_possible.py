"""Plans that no foot, or not this foot, could follow."""

import math

import pytest

from referral.core.errors import ImpossiblePlan, NotFinite
from referral.core.predict.plan import ExecutionU, Plan, Shoe
from referral.core.predict.possible import cannot_move, check_foot, check_plan, does_something
from tests.core.predict.feet import FULL_SHOE, PLANS, points


@pytest.mark.parametrize(
    ("plan", "at"),
    [
        (Plan(toe_trim_mm=-1), "plan.toe_trim_mm"),
        (Plan(heel_trim_mm=-0.5), "plan.heel_trim_mm"),
        (Plan(heel_trim_medial_mm=-1), "plan.heel_trim_medial_mm"),
        (Plan(heel_trim_lateral_mm=-1), "plan.heel_trim_lateral_mm"),
        (Plan(toe_dress_mm=-1), "plan.toe_dress_mm"),
        (Plan(sole_pare_mm=-1), "plan.sole_pare_mm"),
        (Plan(pad_mm=-1), "plan.pad_mm"),
        (Plan(bevel_setback_mm=-1), "plan.bevel_setback_mm"),
        (Plan(interval_weeks=-1), "plan.interval_weeks"),
        (Plan(execution_u=ExecutionU(length_mm=-1)), "plan.execution_u.length_mm"),
        (Plan(wedge_deg=45), "plan.wedge_deg"),
        (Plan(wedge_deg=-60), "plan.wedge_deg"),
        (Plan(shoe=Shoe("open", thickness_mm=-8)), "plan.shoe.thickness_mm"),
    ],
)
def test_numbers_that_no_foot_could_follow(plan, at):
    with pytest.raises(ImpossiblePlan) as refused:
        check_plan(plan)
    assert refused.value.at == at
    assert at.rsplit(".", 1)[-1] in refused.value.message


@pytest.mark.parametrize(
    ("plan", "at"),
    [
        (Plan(heel_trim_mm=math.nan), "plan.heel_trim_mm"),
        (Plan(wedge_deg=math.inf), "plan.wedge_deg"),
        (Plan(wedge_mm=math.nan), "plan.wedge_mm"),
        (Plan(interval_weeks=math.nan), "plan.interval_weeks"),
        (Plan(execution_u=ExecutionU(trim_mm=math.nan)), "plan.execution_u.trim_mm"),
        (Plan(shoe=Shoe("open", heel_extension_mm=math.nan)), "plan.shoe.heel_extension_mm"),
    ],
)
def test_numbers_that_are_none(plan, at):
    with pytest.raises(NotFinite) as refused:
        check_plan(plan)
    assert refused.value.at == at


def test_a_wedge_whose_angle_and_height_differ_is_left_to_the_rules():
    check_plan(Plan(wedge_deg=3.0, wedge_mm=12.0, wedge_length_mm=120.0))


@pytest.mark.parametrize(
    ("plan", "at", "most"),
    [
        (Plan(heel_trim_mm=26), "plan.heel_trim_mm", "25.0 mm at most"),
        (Plan(heel_trim_lateral_mm=30), "plan.heel_trim_lateral_mm", "25.0 mm at most"),
        (Plan(toe_trim_mm=80), "plan.toe_trim_mm", "71.8 mm at most"),
        (Plan(sole_pare_mm=13), "plan.sole_pare_mm", "12.0 mm at most"),
        (Plan(toe_dress_mm=28), "plan.toe_dress_mm", "27.5 mm at most"),
        (Plan(bevel_setback_mm=147), "plan.bevel_setback_mm", "146.4 mm at most"),
        (
            Plan(shoe=Shoe("open", breakover_setback_mm=150)),
            "plan.shoe.breakover_setback_mm",
            "146.4 mm at most",
        ),
    ],
)
def test_more_than_this_foot_has(plan, at, most):
    with pytest.raises(ImpossiblePlan) as refused:
        check_foot(points(), plan)
    assert refused.value.at == at
    assert most in refused.value.message


@pytest.mark.parametrize(
    ("end", "other", "bone"),
    [("toe", 0.0, "p3_tip"), ("toe", 4.0, "p3_tip"), ("heel", 6.0, "p3_palmar_process")],
)
def test_a_trim_into_the_bone_says_how_far_it_could_go(end, other, bone):
    trims = {"toe_trim_mm": other, "heel_trim_mm": other}
    foot = points() | {"heel_wall_proximal": points()["heel_wall_proximal"] + [-25.0, 25.0]}
    with pytest.raises(ImpossiblePlan) as refused:
        check_foot(foot, Plan(**(trims | {f"{end}_trim_mm": 45.0})))
    assert refused.value.at == f"plan.{end}_trim_mm"
    most = float(refused.value.message.split(" mm at most")[0].rsplit(" ", 1)[-1])
    check_foot(foot, Plan(**(trims | {f"{end}_trim_mm": most})))
    with pytest.raises(ImpossiblePlan):
        check_foot(foot, Plan(**(trims | {f"{end}_trim_mm": most + 0.11})))
    spared = {name: xy for name, xy in foot.items() if not name.startswith("p3_") or name == bone}
    with pytest.raises(ImpossiblePlan, match=f"{most:.1f} mm at most"):
        check_foot(spared, Plan(**(trims | {f"{end}_trim_mm": 45.0})))


def test_the_greatest_amount_itself_is_possible():
    check_foot(points(), Plan(heel_trim_mm=25.0, toe_trim_mm=5.0))
    check_foot(points(), Plan(sole_pare_mm=12.0))


def test_a_foot_without_walls_is_checked_for_what_it_shows():
    walls = ("wall_proximal", "wall_distal", "heel_wall_proximal", "heel_wall_distal")
    check_foot(points(*walls), Plan(toe_dress_mm=28.0))
    with pytest.raises(ImpossiblePlan, match="the bone leaves room"):
        check_foot(points(*walls), Plan(toe_trim_mm=30.0))
    check_foot(points(*walls, "toe", "heel"), Plan(toe_trim_mm=30.0))


@pytest.mark.parametrize(
    ("gone", "plan", "needs"),
    [
        (("wall_proximal", "toe"), PLANS["heel"], "needs toe or wall_proximal and wall_distal"),
        (("wall_proximal", "toe"), Plan(), ""),
        (("heel_wall_distal", "heel"), PLANS["heel"], "needs heel or heel_wall_proximal"),
        (("heel_wall_distal", "heel"), Plan(growth_since_film=True), "needs heel"),
        (("heel_wall_distal", "heel"), Plan(wedge_deg=2), ""),
        (("heel_wall_distal", "heel"), Plan(wedge_mm=5), "needs plan.wedge_deg"),
        (("heel_wall_distal", "heel"), Plan(wedge_mm=5, wedge_length_mm=100), ""),
        (("heel_wall_distal",), PLANS["heel"], ""),
        (("wall_proximal",), PLANS["heel"], ""),
        (("wall_proximal",), PLANS["toe"], "needs the dorsal wall"),
        (("wall_proximal", "heel_wall_distal"), PLANS["heel"], "needs the dorsal wall"),
        ((), PLANS["all"], ""),
    ],
)
def test_what_a_plan_needs_to_be_foretold(gone, plan, needs):
    found = cannot_move(points(*gone), plan)
    assert found.startswith(needs)
    assert bool(found) == bool(needs)


@pytest.mark.parametrize(
    "plan",
    [Plan(toe_trim_mm=1), Plan(wedge_mm=4), Plan(bevel_setback_mm=0), Plan(shoe=FULL_SHOE)],
    ids=("trim", "wedge", "bevel", "shoe"),
)
def test_plans_that_do_something(plan):
    assert does_something(plan)
