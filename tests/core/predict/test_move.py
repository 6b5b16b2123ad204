"""A plan moves landmarks: a worked table, and what must hold for any foot."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from referral.core.measure.lateromedial import lateromedial_readings
from referral.core.predict.model import readings_after
from referral.core.predict.move import move_foot, plan_arrays, plan_numbers
from referral.core.predict.plan import Plan, Shoe
from tests.core.predict.feet import FULL_SHOE, PLANS, points

TABLE = {
    # L, phi, palmar angle, wall angle, sole, breakover, behind centre, height of the joint
    "nothing": (146.49, 0.0, 5.00, 47.00, 12.00, 41.49, 36.18, 62.00),
    "heel": (151.58, -1.89, 3.11, 45.11, 11.99, 41.97, 37.00, 58.88),
    "toe": (141.92, 2.02, 7.02, 49.02, 11.29, 36.46, 38.86, 60.09),
    "all": (151.58, -1.89, 6.11, 48.11, 12.00, 21.20, 48.14, 73.80),
}
COLUMNS = (
    "palmar_angle_deg",
    "dorsal_wall_angle_deg",
    "sole_depth_tip_mm",
    "breakover_distance_mm",
    "behind_centre_percent",
    "dip_height_mm",
)


def after(foot, plan):
    arrays = plan_arrays(plan)
    moved = move_foot(foot, arrays)
    return moved, readings_after(foot, moved, arrays)


@pytest.mark.parametrize("name", TABLE)
def test_worked_table(name):
    moved, readings = after(points(), PLANS[name])
    found = [moved.bearing_length_mm, moved.phi_deg, *(readings[code] for code in COLUMNS)]
    assert tuple(round(float(value), 2) for value in found) == TABLE[name]


def test_founder_distance_moves_with_a_trim_alone():
    before = lateromedial_readings(points())["founder_distance_mm"]
    _, readings = after(points(), PLANS["heel"])
    assert round(float(before), 2) == 9.55
    assert round(float(readings["founder_distance_mm"]), 2) == 9.94


numbers = st.floats(-1.0, 1.0)


@given(st.lists(numbers, min_size=40, max_size=40), st.booleans())
def test_doing_nothing_changes_nothing(jitter, is_stripped):
    gone = ("heel_wall_proximal", "wall_distal", "p2_condyle") if is_stripped else ()
    foot = points(*gone)
    for (name, xy), dx, dy in zip(sorted(foot.items()), jitter[::2], jitter[1::2], strict=False):
        foot[name] = xy + np.array([dx, dy])
    before = lateromedial_readings(foot)
    _, readings = after(foot, Plan())
    assert readings.keys() == before.keys()
    for code, value in readings.items():
        assert float(value) == pytest.approx(float(before[code]), abs=1e-9), code


@given(st.floats(0, 10), st.floats(0, 10), st.floats(-6, 6), st.booleans(), st.floats(0, 12))
def test_palmar_angle_gains_trim_and_wedge(toe, heel, wedge, is_shod, thickness):
    shoe = Shoe("open", thickness_mm=thickness) if is_shod else None
    plan = Plan(toe_trim_mm=toe, heel_trim_mm=heel, wedge_deg=wedge, shoe=shoe)
    before = lateromedial_readings(points())
    moved, readings = after(points(), plan)
    lift = float(moved.phi_deg) + wedge
    for code, share in {
        "palmar_angle_deg": 1.0,
        "dorsal_wall_angle_deg": 1.0,
        "dorsal_p3_angle_deg": 1.0,
        "phalangeal_rotation_deg": 0.983,
        "p2_angle_deg": 0.017,
        "capsular_rotation_deg": 0.0,
        "toe_heel_difference_deg": 0.0,
        "bone_angle_deg": 0.0,
    }.items():
        assert float(readings[code] - before[code]) == pytest.approx(share * lift, abs=1e-9), code


def test_phi_of_upright_walls_is_the_rule_of_thumb():
    foot = {
        "wall_proximal": np.array([110.0, 80.0]),
        "wall_distal": np.array([110.0, 0.0]),
        "heel_wall_proximal": np.array([0.0, 40.0]),
        "heel_wall_distal": np.array([0.0, 0.0]),
    }
    moved = move_foot(foot, plan_arrays(Plan(heel_trim_mm=5.0)))
    assert round(float(moved.phi_deg), 2) == -2.60


def test_many_plans_at_once_equal_one_by_one():
    heel, toe = np.meshgrid(np.arange(0.0, 10.0, 0.5), np.arange(0.0, 10.0, 0.5))
    base = Plan(shoe=FULL_SHOE, wedge_deg=2.0, sole_pare_mm=1.0)
    rows = np.broadcast_to(plan_numbers(base), (*heel.shape, 8)).copy()
    rows[..., 0], rows[..., 1] = toe, heel
    arrays = plan_arrays(base, rows)
    many = readings_after(points(), move_foot(points(), arrays), arrays)
    for row, column in [(0, 0), (3, 17), (19, 5)]:
        plan = Plan(
            toe_trim_mm=toe[row, column],
            heel_trim_mm=heel[row, column],
            shoe=FULL_SHOE,
            wedge_deg=2.0,
            sole_pare_mm=1.0,
        )
        _, one = after(points(), plan)
        assert one.keys() == many.keys()
        for code, value in one.items():
            here = np.broadcast_to(many[code], heel.shape)[row, column]
            assert here == pytest.approx(float(value), abs=1e-9), code


def test_numbers_of_a_plan_broadcast_each_on_its_own():
    stacks, heels = np.array([0.0, 8.0, 10.0]), np.array([[0.0], [5.0]])
    plan = replace(plan_arrays(PLANS["all"]), stack_mm=stacks, heel_trim_mm=heels)
    many = readings_after(points(), move_foot(points(), plan), plan)
    assert many["dip_height_mm"].shape == (2, 3)
    assert round(float(many["dip_height_mm"][1, 2]), 2) == TABLE["all"][-1]
    raised = many["tip_to_ground_mm"][0] - many["tip_to_ground_mm"][0, 0]
    assert raised == pytest.approx(stacks)


def test_centre_may_be_given_as_a_point():
    foot = points("p2_condyle") | {"condyle_centre": np.array([-52.0, 62.0])}
    _, by_point = after(foot, PLANS["all"])
    _, by_arc = after(points(), PLANS["all"])
    for code in ("dip_height_mm", "heel_arm_mm", "phalangeal_rotation_deg"):
        assert float(by_point[code]) == pytest.approx(float(by_arc[code]), abs=1e-9)


def test_middle_phalanx_turns_alike_without_its_condyle():
    _, bare = after(points("p2_condyle"), PLANS["all"])
    _, full = after(points(), PLANS["all"])
    assert float(bare["p2_angle_deg"]) == pytest.approx(float(full["p2_angle_deg"]), abs=1e-9)


def test_sole_is_pared_but_not_below_the_bearing_line():
    _, pared = after(points(), Plan(sole_pare_mm=2.0))
    assert float(pared["sole_depth_tip_mm"]) == pytest.approx(10.0)
    assert float(pared["sole_cup_tip_mm"]) == pytest.approx(5.0)
    _, trimmed = after(points(), Plan(toe_trim_mm=6.0, heel_trim_mm=6.0))
    assert float(trimmed["sole_depth_tip_mm"]) == pytest.approx(9.0)
    assert float(trimmed["sole_cup_tip_mm"]) == pytest.approx(0.0, abs=1e-9)


def test_cup_is_measured_to_the_hoof_not_to_the_shoe():
    _, readings = after(points(), Plan(shoe=FULL_SHOE, wedge_deg=3.0))
    cup = float(readings["sole_cup_tip_mm"])
    assert cup == pytest.approx(3.0 / np.cos(np.radians(3.0)), abs=1e-9)


def test_dressing_shortens_the_toe_and_thins_the_wall_low_down():
    before = lateromedial_readings(points())
    _, readings = after(points(), Plan(toe_dress_mm=6.0))
    thinner = before["wall_thickness_distal_mm"] - readings["wall_thickness_distal_mm"]
    assert float(thinner) == pytest.approx(6.0 * np.sin(np.radians(47.0)), abs=1e-4)
    assert float(readings["wall_thickness_proximal_mm"]) == pytest.approx(17.0, abs=0.01)
    assert float(readings["toe_distance_mm"]) == pytest.approx(35.494)
    assert float(readings["breakover_distance_mm"]) == pytest.approx(35.494)
    assert float(readings["palmar_angle_deg"]) == pytest.approx(5.0, abs=1e-3)


def test_dressing_reaches_a_worn_toe_only_past_the_wear():
    foot = points() | {"breakover": np.array([31.494, 0.0])}
    _, light = after(foot, Plan(toe_dress_mm=6.0))
    _, heavy = after(foot, Plan(toe_dress_mm=14.0))
    assert float(light["breakover_distance_mm"]) == pytest.approx(31.494)
    assert float(heavy["breakover_distance_mm"]) == pytest.approx(27.494)


def test_bevel_sets_the_breakover_of_a_bare_foot():
    _, readings = after(points(), Plan(bevel_setback_mm=12.0))
    assert float(readings["breakover_distance_mm"]) == pytest.approx(29.494)
    assert float(readings["toe_distance_mm"]) == pytest.approx(41.494)


def test_bare_breakover_is_carried_with_the_trim():
    foot = points() | {"breakover": np.array([31.494, 0.0])}
    moved, readings = after(foot, PLANS["toe"])
    front = float(moved.points["toe"][0])
    assert float(moved.points["breakover"][0]) == pytest.approx(front - 10.0)
    assert float(readings["breakover_distance_mm"]) == pytest.approx(36.46 - 10.0, abs=0.0051)


def test_flare_stays_in_front_of_the_wall_line():
    foot = points() | {"toe": np.array([47.0, 0.0])}
    _, readings = after(foot, Plan(shoe=Shoe("open", thickness_mm=8.0)))
    assert float(readings["toe_distance_mm"]) == pytest.approx(47.0)


def test_foot_without_heel_is_wedged_but_has_no_length():
    foot = points("heel", "heel_wall_proximal", "heel_wall_distal")
    moved, readings = after(foot, Plan(wedge_deg=3.0, shoe=FULL_SHOE))
    assert float(readings["palmar_angle_deg"]) == pytest.approx(8.0, abs=1e-3)
    assert np.isnan(moved.bearing_length_mm)
    assert "heel_arm_mm" not in readings


def test_shoe_gives_a_breakover_to_a_foot_filmed_without_one():
    _, readings = after(points("toe", "breakover"), Plan(shoe=FULL_SHOE))
    assert float(readings["breakover_distance_mm"]) == pytest.approx(21.494, abs=1e-3)


def test_wall_not_placed_means_the_toe_dropped_to_the_ground():
    foot = {"toe": np.array([40.0, 2.0]), "heel": np.array([-100.0, 1.0])}
    moved = move_foot(foot, plan_arrays(Plan()))
    assert float(moved.bearing_length_mm) == pytest.approx(140.0)
    assert moved.points["toe"].tolist() == pytest.approx([40.0, 2.0])
