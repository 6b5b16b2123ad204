"""One wedge's part of a window: its area, outline and ranges, and what bounds it."""

from dataclasses import dataclass

import numpy as np

from referral.core.predict.many import Bools
from referral.core.rules.grid import Grid, cell_edges_mm
from referral.core.rules.outline import Ring, outline_of

AXES = ("heel_trim_mm", "toe_trim_mm")
ENDS = ("least", "most")


@dataclass(frozen=True, slots=True)
class Binding:
    """What stops a region on one side.

    ``axis`` and ``end`` name the side: less or more of one trim. ``limits`` are those not met
    one step farther, the one along most of the border first; ``horn`` says that part of the
    border is where the hoof has no more to give, ``range_end`` that part of it is the end of
    the range asked for. ``at_mm`` is a place on the border for a label, (heel, toe) in mm.
    """

    axis: str
    end: str
    limits: tuple[str, ...]
    horn: bool
    range_end: bool
    at_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Region:
    """The plans with one wedge that meet every tested limit.

    ``area_mm2`` is their number times the square of the step. ``outline_mm`` are rings of
    (heel trim, toe trim) round their cells, outer ones counter-clockwise, holes clockwise;
    ``close_outline_mm`` those round the plans that break none but are too close to one to
    call. Ranges are of the plans themselves, ``None`` if there is none. ``wedge_mm`` is
    L tan(wedge) over the length at the farrier's plan, ``None`` if that is not known.
    """

    wedge_deg: float
    wedge_mm: float | None
    count: int
    area_mm2: float
    outline_mm: tuple[Ring, ...]
    close_outline_mm: tuple[Ring, ...]
    heel_trim_mm: tuple[float, float] | None
    toe_trim_mm: tuple[float, float] | None
    binding: tuple[Binding, ...]


@dataclass(frozen=True, slots=True)
class Slice:
    """One wedge's plans, arrays over (heel, toe); ``passed`` is (limit, heel, toe)."""

    possible: Bools
    passed: Bools
    not_outside: Bools

    @property
    def inside(self) -> Bools:
        """Return which plans the foot can follow and meet every limit."""
        return self.possible & self.passed.all(axis=0)

    @property
    def close(self) -> Bools:
        """Return which plans break no limit but are too close to one to call."""
        return self.possible & self.not_outside.all(axis=0) & ~self.inside


def region_of(
    grid: Grid, index: int, wedge_mm: float | None, part: Slice, rules: tuple[str, ...]
) -> Region:
    """Return one wedge's region.

    Parameters
    ----------
    grid : Grid
        The plans tried.
    index : int
        Which of its wedges.
    wedge_mm : float or None
        The wedge's height, mm.
    part : Slice
        That wedge's plans.
    rules : tuple of str
        The name of each limit, in the order of ``part.passed``.

    Examples
    --------
    >>> from referral.core.rules.grid import Ask, grid_of
    >>> grid = grid_of(Ask((0.0, 2.0), (0.0, 0.0), 1.0, (0.0,)))
    >>> met = np.array([[[True], [True], [False]]])
    >>> region = region_of(grid, 0, 0.0, Slice(met[0] | True, met, met), ("case:0",))
    >>> region.area_mm2, region.heel_trim_mm, region.binding[1].limits
    (2.0, (0.0, 1.0), ('case:0',))
    """
    inside = part.inside
    edges = [cell_edges_mm(axis, grid.step_mm) for axis in (grid.heel_trim_mm, grid.toe_trim_mm)]
    count = int(inside.sum())
    heels, toes = (np.flatnonzero(inside.any(axis=axis)) for axis in (1, 0))
    return Region(
        wedge_deg=float(grid.wedge_deg[index]),
        wedge_mm=wedge_mm,
        count=count,
        area_mm2=count * grid.step_mm**2,
        outline_mm=outline_of(inside, *edges),
        close_outline_mm=outline_of(part.close, *edges),
        heel_trim_mm=_ends(grid.heel_trim_mm[heels].tolist()),
        toe_trim_mm=_ends(grid.toe_trim_mm[toes].tolist()),
        binding=_bindings(grid, part, rules) if count else (),
    )


def _ends(values: list[float]) -> tuple[float, float] | None:
    return (values[0], values[-1]) if values else None


def _bindings(grid: Grid, part: Slice, rules: tuple[str, ...]) -> tuple[Binding, ...]:
    return tuple(
        _binding(grid, part, rules, axis, end) for axis in range(len(AXES)) for end in (0, 1)
    )


def _binding(grid: Grid, part: Slice, rules: tuple[str, ...], axis: int, end: int) -> Binding:
    """Look one step past the region on one side: end 0 is less, end 1 is more."""
    step = 1 if end else -1
    inside = part.inside
    beyond = _next(inside, axis, step, outside=False)
    border = inside & ~beyond
    possible = _next(part.possible, axis, step, outside=False)
    on_grid = _next(np.ones_like(inside), axis, step, outside=False)
    counts = [
        int((border & possible & ~_next(passed, axis, step, outside=True)).sum())
        for passed in part.passed
    ]
    order = sorted(range(len(rules)), key=lambda row: -counts[row])
    places = np.argwhere(border)
    heel, toe = places[len(places) // 2].tolist()
    return Binding(
        axis=AXES[axis],
        end=ENDS[end],
        limits=tuple(rules[row] for row in order if counts[row]),
        horn=bool((border & on_grid & ~possible).any()),
        range_end=bool((border & ~on_grid).any()),
        at_mm=(float(grid.heel_trim_mm[heel]), float(grid.toe_trim_mm[toe])),
    )


def _next(plans: Bools, axis: int, step: int, *, outside: bool) -> Bools:
    """Return what is true of each plan's neighbour; beyond the grid it is ``outside``."""
    moved = np.roll(plans, -step, axis=axis)
    end = [slice(None), slice(None)]
    end[axis] = slice(-1, None) if step > 0 else slice(0, 1)
    moved[tuple(end)] = outside
    return moved
