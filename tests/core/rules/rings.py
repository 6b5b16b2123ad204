"""What a reader of an outline can work out from its rings alone."""


def pairs(ring):
    """Return each corner with the next."""
    return zip(ring, ring[1:] + ring[:1], strict=True)


def shoelace(ring):
    """Return the signed area of a ring, positive if it runs counter-clockwise."""
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs(ring)) / 2.0


def is_inside(rings, x, y):
    """Return whether a point lies inside the rings, by the even-odd rule."""
    crossed = 0
    for ring in rings:
        for (x0, y0), (x1, y1) in pairs(ring):
            if (y0 > y) != (y1 > y) and x < x0 + (x1 - x0) * (y - y0) / (y1 - y0):
                crossed += 1
    return crossed % 2 == 1
