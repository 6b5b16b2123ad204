"""A foot, limits and grids that the tests of the window share."""

import itertools

from referral.core.measure.readings import Measured
from referral.core.predict.plan import Plan
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask, grid_of
from referral.core.rules.rule import Rulebook
from referral.core.rules.window import WindowFoot, solve_window
from referral.rulebook.loader import load_rulebook
from tests.core.predict.feet import FORE, FULL_SHOE, ON, film
from tests.core.rules.rings import is_inside

SHIPPED = load_rulebook()
NO_RULES = Rulebook((), "")
COARSE = Ask((0.0, 9.0), (0.0, 6.0), 1.5, (0.0, 2.0, 4.0))
ROUGH = Ask((0.0, 8.0), (0.0, 6.0), 2.0, (0.0, 2.0, 4.0))
PLAN = Plan(heel_trim_mm=5.0, wedge_deg=2.0, shoe=FULL_SHOE, interval_weeks=6.0)
SOLE = CaseLimit("sole_depth_tip_mm", "after_fit", "must", at_least=9)
ANGLE = CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=3, at_most=7)
LATE = CaseLimit("palmar_angle_deg", "at_due", "must", at_least=2)
ARM = CaseLimit("breakover_distance_mm", "at_due", "must", at_most=38)
TURN = CaseLimit("palmar_angle_deg", "change", "must", at_most=4)
HEEL = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=6)
HEIGHT = CaseLimit("wedge_mm", "after_fit", "must", at_most=8)
BEHIND = CaseLimit("behind_centre_percent", "after_fit", "should", at_least=46)


def foot(plan=PLAN, film_=None, **more):
    return WindowFoot(film_ or film(), more.pop("said", Measured()), plan, FORE, **more)


def solve(subject, limits=(), rulebook=NO_RULES, ask=COARSE):
    return solve_window(subject, rulebook, limits, ON, ask)


def inside_points(window, ask=COARSE):
    """Return the (wedge, heel, toe) of the grid that the outlines hold."""
    grid = grid_of(ask)
    return {
        (region.wedge_deg, heel, toe)
        for region in window.regions
        for heel in grid.heel_trim_mm.tolist()
        for toe in grid.toe_trim_mm.tolist()
        if is_inside(region.outline_mm, heel, toe)
    }


def every_point(ask=COARSE):
    grid = grid_of(ask)
    axes = (grid.wedge_deg, grid.heel_trim_mm, grid.toe_trim_mm)
    return itertools.product(*(axis.tolist() for axis in axes))
