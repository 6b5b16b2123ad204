"""The outline of a region of grid cells, as rings of straight edges."""

import numpy as np
from numpy.typing import NDArray

from referral.core.geometry.points import Floats

Corner = tuple[int, int]
Ring = tuple[tuple[float, float], ...]

EAST, NORTH, WEST, SOUTH = (1, 0), (0, 1), (-1, 0), (0, -1)
LEFT_OF = {EAST: NORTH, NORTH: WEST, WEST: SOUTH, SOUTH: EAST}


def outline_of(inside: NDArray[np.bool_], x_edges: Floats, y_edges: Floats) -> tuple[Ring, ...]:
    """Return the rings round a region of cells; their signed areas add up to the cells' area.

    Parameters
    ----------
    inside : ndarray of bool, shape (n, m)
        Which cells belong to the region, x along the first axis.
    x_edges, y_edges : ndarray, shape (n + 1,) and (m + 1,)
        Where the cells end, rising.

    Returns
    -------
    tuple of rings
        Each a tuple of corners (x, y), the first not repeated. Outer rings run counter-clockwise,
        holes clockwise. Cells that touch at a corner alone lie in rings of their own.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> edges = np.array([0.0, 1.0, 2.0])
    >>> outline_of(np.array([[True, False], [True, True]]), edges, edges)
    (((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (1.0, 2.0), (1.0, 1.0), (0.0, 1.0)),)
    """
    ways = _ways(inside)
    rings = []
    for start in sorted(ways):
        while ways[start]:
            corners = _walk(ways, start)
            rings.append(tuple((float(x_edges[i]), float(y_edges[j])) for i, j in corners))
    return tuple(rings)


def _ways(inside: NDArray[np.bool_]) -> dict[Corner, list[Corner]]:
    """Return, by corner, the ways on along the border with the region at the left hand."""
    padded = np.pad(inside, 1)
    ways: dict[Corner, list[Corner]] = {}
    for way, start, neighbour in (
        (EAST, (0, 0), padded[1:-1, :-2]),
        (NORTH, (1, 0), padded[2:, 1:-1]),
        (WEST, (1, 1), padded[1:-1, 2:]),
        (SOUTH, (0, 1), padded[:-2, 1:-1]),
    ):
        for i, j in np.argwhere(inside & ~neighbour).tolist():
            ways.setdefault((i + start[0], j + start[1]), []).append(way)
    return ways


def _walk(ways: dict[Corner, list[Corner]], start: Corner) -> list[Corner]:
    """Walk one ring, using up its ways, and return the corners where it turns."""
    corners = [start]
    before = ways[start].pop()
    here = _step(start, before)
    while here != start:
        # where two rings touch, the sharper turn stays with the same cell
        left = LEFT_OF[before]
        way = left if left in ways[here] else ways[here][0]
        ways[here].remove(way)
        if way != before:
            corners.append(here)
        here, before = _step(here, way), way
    return corners


def _step(corner: Corner, way: Corner) -> Corner:
    return corner[0] + way[0], corner[1] + way[1]
