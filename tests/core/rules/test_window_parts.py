"""The parts of a window: its grid, its outlines, the limits that contradict each other."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from shapely import Polygon, union_all
from shapely.geometry import box

from referral.core.errors import CoreError, ImpossiblePlan, NotFinite
from referral.core.rules.conflict import can_be_met, least_conflict
from referral.core.rules.grid import Ask, cell_edges_mm, grid_of
from referral.core.rules.outline import outline_of
from tests.core.rules.rings import is_inside, pairs, shoelace

CELLS = arrays(bool, st.tuples(st.integers(1, 7), st.integers(1, 7)))
PASSED = arrays(bool, st.tuples(st.integers(1, 6), st.integers(1, 12)))


@pytest.mark.parametrize(
    ("ask", "heels"),
    [
        (Ask((0.0, 1.0), step_mm=0.5), [0.0, 0.5, 1.0]),
        (Ask((0.25, 1.1), step_mm=0.25), [0.25, 0.5, 0.75, 1.0, 1.1]),
        (Ask((2.0, 2.0)), [2.0]),
        (Ask((1.0, 1.2), step_mm=3.0), [1.0, 1.2]),
        (Ask((0.0, 0.3), step_mm=0.1), [0.0, 0.1, 0.2, 0.3]),
    ],
)
def test_a_grid_includes_both_ends_of_a_range(ask, heels):
    assert grid_of(ask).heel_trim_mm.tolist() == pytest.approx(heels, abs=1e-12)


def test_twenty_thousand_points_and_twelve_wedges_are_allowed():
    ask = Ask((0.0, 19.9), (0.0, 9.9), 0.1, tuple(range(12)))
    grid = grid_of(ask)
    assert len(grid.heel_trim_mm) * len(grid.toe_trim_mm) == 20_000
    assert grid.variants().toe_trim_mm.shape == (12, 200, 100)


@pytest.mark.parametrize(
    ("ask", "kind", "at"),
    [
        (Ask((0.0, 20.0), (0.0, 9.9), 0.1), CoreError, "window.step_mm"),
        (Ask(step_mm=1e-300), CoreError, "window.step_mm"),
        (Ask(step_mm=0.0), CoreError, "window.step_mm"),
        (Ask(step_mm=math.nan), NotFinite, "window.step_mm"),
        (Ask((3.0, 1.0)), CoreError, "window.heel_trim_mm"),
        (Ask((-1.0, 1.0)), ImpossiblePlan, "window.heel_trim_mm"),
        (Ask(toe_trim_mm=(0.0, math.inf)), NotFinite, "window.toe_trim_mm"),
        (Ask(toe_trim_mm=(math.nan, 1.0)), NotFinite, "window.toe_trim_mm"),
        (Ask(wedge_deg=()), CoreError, "window.wedge_deg"),
        (Ask(wedge_deg=tuple(range(13))), CoreError, "window.wedge_deg"),
        (Ask(wedge_deg=(0.0, 45.0)), ImpossiblePlan, "window.wedge_deg.1"),
        (Ask(wedge_deg=(0.0, math.nan)), NotFinite, "window.wedge_deg.1"),
        (Ask(against="everything"), CoreError, "window.against"),
    ],
)
def test_a_grid_that_cannot_be_tried_is_refused_where_it_is_wrong(ask, kind, at):
    with pytest.raises(kind) as refused:
        grid_of(ask)
    assert refused.value.at == at
    assert refused.value.message.endswith(".")


@given(cells=CELLS, short=st.floats(0.1, 1.0))
def test_an_outline_holds_its_cells_and_no_others(cells, short):
    """Against shapely's union of the same cells."""
    axes = [np.arange(n, dtype=float) for n in cells.shape]
    axes[0][-1] += short - 1.0 if len(axes[0]) > 1 else 0.0
    edges = [cell_edges_mm(axis, 1.0) for axis in axes]
    rings = outline_of(cells, *edges)
    x, y = edges
    union = union_all([box(x[i], y[j], x[i + 1], y[j + 1]) for i, j in np.argwhere(cells)])
    signed = sum(shoelace(ring) for ring in rings)
    assert signed == pytest.approx(union.area)
    assert sum(Polygon(ring).length for ring in rings) == pytest.approx(union.length)
    for (i, j), belongs in np.ndenumerate(cells):
        assert is_inside(rings, (x[i] + x[i + 1]) / 2, (y[j] + y[j + 1]) / 2) == belongs
    for ring in rings:
        assert all(turns(ring)), "a corner that is none"


def turns(ring):
    edges = [(x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in pairs(ring)]
    return [ax * by != ay * bx for (ax, ay), (bx, by) in pairs(tuple(edges))]


def test_a_region_with_a_hole_has_a_ring_for_it_that_runs_the_other_way():
    cells = np.ones((3, 3), bool)
    cells[1, 1] = False
    edges = np.arange(4.0)
    outer, hole = outline_of(cells, edges, edges)
    assert (shoelace(outer), shoelace(hole)) == (9.0, -1.0)


def test_cells_that_touch_at_a_corner_lie_in_rings_of_their_own():
    edges = np.arange(3.0)
    assert len(outline_of(np.eye(2, dtype=bool), edges, edges)) == 2
    assert outline_of(np.zeros((2, 2), bool), edges, edges) == ()


@given(passed=PASSED)
def test_the_least_conflict_is_that_of_an_exhaustive_search(passed):
    count = len(passed)
    expected = ()
    for size in range(count + 1):
        sets = itertools.combinations(range(count), size)
        expected = next((each for each in sets if not passed[list(each)].all(0).any()), None)
        if expected is not None:
            break
    assert least_conflict(passed) == (expected or ())
    assert can_be_met(passed) == (expected is None)


@given(passed=PASSED)
def test_without_any_one_of_a_least_conflict_the_others_can_be_met(passed):
    conflict = least_conflict(passed)
    for row in conflict:
        assert can_be_met(passed[[each for each in conflict if each != row]])


def test_no_plan_is_no_conflict():
    assert least_conflict(np.zeros((2, 0), bool)) == ()
    assert least_conflict(np.zeros((0, 5), bool)) == ()


def test_a_limit_that_no_plan_meets_contradicts_the_foot_alone():
    assert least_conflict(np.array([[True, False], [False, False], [False, True]])) == (1,)
