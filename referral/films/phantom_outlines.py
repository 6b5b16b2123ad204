"""The outlines of a foot's bones and horn, side on: closed rings of points, foot frame, mm."""

import numpy as np

from referral.core.geometry.points import Floats
from referral.films.phantom_foot import JOINT_GAP_MM, Foot, Frame, moved, toward

ROUNDING_STEPS = 6
P1_MORE_UPRIGHT_DEG = 4.0
MARKER_HALF_WIDTH_MM = 0.8
WIRE_HALF_WIDTH_MM = 0.6
BLOCK_DEPTH_MM = 40.0
FAR_MM = 400.0


def rounded(ring: Floats) -> Floats:
    """Return a closed ring made smooth: a Catmull-Rom curve through its points."""
    before, after, beyond = (np.roll(ring, shift, axis=0) for shift in (1, -1, -2))
    step = np.linspace(0.0, 1.0, ROUNDING_STEPS, endpoint=False)[:, None, None]
    curve = 0.5 * (
        2.0 * ring
        + (after - before) * step
        + (2.0 * before - 5.0 * ring + 4.0 * after - beyond) * step**2
        + (3.0 * ring - before - 3.0 * after + beyond) * step**3
    )
    return np.asarray(curve.transpose(1, 0, 2).reshape(-1, 2))


def bones(foot: Foot, frame: Frame) -> dict[str, Floats]:
    """Return the rings of the coffin bone, its other wing, the navicular and both pasterns."""
    back, front = toward(180.0 - foot.p2_angle_deg), toward(90.0 - foot.p2_angle_deg)
    p1_deg = foot.p2_angle_deg + P1_MORE_UPRIGHT_DEG
    knuckle = frame.centre + 52.0 * back
    return {
        "p3": _coffin_bone(frame),
        "wing": _wing(frame, frame.other_process),
        "navicular": _navicular(frame),
        "p2": _short_pastern(frame, back, front),
        "p1": _long_pastern(knuckle, toward(180.0 - p1_deg), toward(90.0 - p1_deg)),
    }


def _arc(centre: Floats, radius: float, first_deg: float, last_deg: float, count: int) -> Floats:
    return np.array([centre + radius * toward(a) for a in np.linspace(first_deg, last_deg, count)])


def _bearing_deg(origin: Floats, point: Floats) -> float:
    return float(np.degrees(np.arctan2(point[1] - origin[1], point[0] - origin[0])))


def _coffin_bone(frame: Frame) -> Floats:
    top_deg = _bearing_deg(frame.centre, frame.extensor)
    rear_deg = _bearing_deg(frame.centre, frame.cortex) % -360.0
    joint = _arc(frame.centre, frame.radius + JOINT_GAP_MM, top_deg - 16.0, rear_deg, 24)
    face = [frame.tip + step * frame.up for step in (1.5, frame.along - 4.0, frame.along + 1.0)]
    under = moved((frame.process + frame.tip) / 2.0, 0.0, 0.8)
    return np.array([frame.tip, *face, frame.extensor, *joint, *_rear(frame, frame.process), under])


def _rear(frame: Frame, process: Floats) -> list[Floats]:
    slack = (frame.cortex + process) / 2.0
    return [
        moved(0.7 * frame.cortex + 0.3 * process, 1.0, -1.5),
        moved(slack, 1.5, 0.5),
        moved(process, 2.0, 9.5),
        moved(process, -1.5, 8.5),
        moved(process, -3.0, 4.0),
        moved(process, -1.2, 0.8),
        process,
    ]


def _wing(frame: Frame, process: Floats) -> Floats:
    under = process + 0.35 * (frame.tip - process)
    return np.array([frame.cortex, *_rear(frame, process), under, moved(under, 4.0, 7.0)])


def _navicular(frame: Frame) -> Floats:
    away = toward(_bearing_deg(frame.centre, frame.cortex) - 29.0)
    along = np.array([-away[1], away[0]])
    middle = frame.centre + (frame.radius + 6.8) * away
    rounds = np.radians(np.linspace(0.0, 360.0, 12, endpoint=False))[:, None]
    bulge = 1.0 + 0.12 * np.cos(3.0 * rounds)
    return rounded(middle + bulge * (7.6 * np.cos(rounds) * along + 4.9 * np.sin(rounds) * away))


def _short_pastern(frame: Frame, back: Floats, front: Floats) -> Floats:
    centre, radius = frame.centre, frame.radius
    first_deg = float(np.degrees(np.arctan2(front[1], front[0])))
    condyle = _arc(centre, radius, first_deg, first_deg - 180.0, 28)
    rear = [(9.0, -radius + 2.2), (22.0, -radius + 3.0), (31.0, -radius + 0.5), (37.0, -radius - 2)]
    top = [(40.0, -radius + 2.0), (37.5, -5.0), (37.5, 5.0), (41.0, radius - 1.0)]
    dorsal = [(35.0, radius + 0.5), (29.0, radius - 2.5), (10.0, radius - 2.5)]
    lines = [centre + a * back + f * front for a, f in (*rear, *top, *dorsal)]
    return np.array([*condyle, *_softened(np.array(lines))])


def _softened(line: Floats) -> Floats:
    """Return an open line with its corners cut twice, its ends kept."""
    for _ in range(2):
        near, far = 0.8 * line[:-1] + 0.2 * line[1:], 0.2 * line[:-1] + 0.8 * line[1:]
        inner = np.stack([near, far], axis=1).reshape(-1, 2)
        line = np.concatenate([line[:1], inner[1:-1], line[-1:]])
    return line


def _long_pastern(knuckle: Floats, back: Floats, front: Floats) -> Floats:
    first_deg = float(np.degrees(np.arctan2(front[1], front[0])))
    condyle = _arc(knuckle, 12.6, first_deg + 5.0, first_deg - 185.0, 24)
    shaft = [(14.0, -11.0), (30.0, -10.5), (60.0, -12.0), (95.0, -15.0), (95.0, 14.0), (60.0, 10.5)]
    lines = [knuckle + a * back + f * front for a, f in (*shaft, (30.0, 9.5), (14.0, 10.5))]
    return np.array([*condyle, *_softened(np.array(lines))])


def horn(foot: Foot, frame: Frame) -> dict[str, Floats]:
    """Return the rings of the capsule, the dense outer horn, and what lies above the sole."""
    wall = _outer_wall(frame)
    breakover = np.array([foot.breakover_distance_mm, 0.0])
    coronet = [moved(frame.bulb, 4.0, 6.0), moved((frame.bulb + frame.hairline) / 2.0, 0.0, 4.0)]
    capsule = [*wall, breakover, frame.heel, frame.bulb, *coronet]
    cup_mm = foot.tip_to_ground_mm - foot.sole_depth_tip_mm
    sole = [
        (foot.toe_distance_mm - 14.0, 0.3),
        (foot.toe_distance_mm - 24.0, 0.6 * cup_mm),
        (0.0, cup_mm),
        (float(frame.process[0]) + 25.0, cup_mm + 3.0),
        (float(frame.process[0]), cup_mm + 2.0),
        (float(frame.heel[0]) + 14.0, 2.0),
    ]
    heel = [moved(0.8 * frame.heel + 0.2 * frame.bulb, 1.5, 0.0), frame.bulb]
    solid = [*wall[:-1], *np.array(sole), moved(frame.heel, 3.0, 1.0), *heel, *coronet]
    inner = foot.wall_thickness_mm - foot.lamellar_zone_mm
    normal = np.array([-frame.wall_down[1], frame.wall_down[0]])
    inside = [each - inner * normal for each in wall[1:-2]][::-1]
    return {
        "capsule": np.array(capsule),
        "dense": np.array([*wall, breakover, moved(breakover, -8.0, 3.0), *inside]),
        "solid": np.array(solid),
    }


def _outer_wall(frame: Frame) -> list[Floats]:
    """Return the front wall from the hairline: straight, then bent to where the toe stands."""
    long_mm = float(frame.hairline[1] / -frame.wall_down[1])
    bend = frame.hairline + 0.55 * long_mm * frame.wall_down
    pull = frame.hairline + 0.8 * long_mm * frame.wall_down
    curve = [
        (1 - t) ** 2 * bend + 2 * t * (1 - t) * pull + t**2 * frame.toe
        for t in np.linspace(0.0, 1.0, 9)
    ]
    tuck = moved(frame.hairline, -2.5, 1.5)
    return [tuck, frame.hairline, *curve, moved(frame.toe, -1.0, -0.6 * float(frame.toe[1]))]


def skin(foot: Foot, frame: Frame) -> Floats:
    """Return the ring of the pastern's soft parts, from the coronet out of the picture."""
    back, front = toward(180.0 - foot.p2_angle_deg), toward(90.0 - foot.p2_angle_deg)
    ring = [
        moved(frame.hairline, -12.0, -4.0),
        moved(frame.hairline, -0.8, -0.4),
        frame.hairline + 6.0 * back - 0.6 * front,
        frame.hairline + 14.0 * back - 2.0 * front,
        frame.centre + 44.0 * back + (frame.radius + 11.0) * front,
        frame.centre + 80.0 * back + (frame.radius + 6.0) * front,
        frame.centre + 150.0 * back + (frame.radius + 6.0) * front,
        frame.centre + 150.0 * back - 40.0 * front,
        frame.centre + 80.0 * back - 38.0 * front,
        frame.centre + 45.0 * back - 41.0 * front,
        moved(frame.bulb, -3.0, 16.0),
        moved(frame.bulb, -2.0, 2.0),
        moved(frame.bulb, 14.0, 0.0),
        frame.centre,
    ]
    return rounded(np.array(ring))


def bar(first: Floats, second: Floats, half_width_mm: float) -> Floats:
    """Return the ring of a straight bar from one end to the other."""
    along = (second - first) / float(np.hypot(*(second - first)))
    side = half_width_mm * np.array([-along[1], along[0]])
    return np.array([first + side, second + side, second - side, first - side])


def marker_ends(frame: Frame, length_mm: float) -> Floats:
    """Return the ends of a rod on the front wall, its top at the hairline, shape (2, 2)."""
    normal = np.array([-frame.wall_down[1], frame.wall_down[0]])
    top = frame.hairline + (MARKER_HALF_WIDTH_MM + 0.2) * normal
    return np.array([top, top + length_mm * frame.wall_down])


def ground() -> dict[str, Floats]:
    """Return the rings of the block that the foot stands on and of the wire along its top."""
    wire = np.array([[-FAR_MM, 0.0], [FAR_MM, 0.0]])
    low = np.array([0.0, -BLOCK_DEPTH_MM])
    return {
        "block": np.array([wire[0], wire[1], wire[1] + low, wire[0] + low]),
        "wire": bar(wire[0], wire[1], WIRE_HALF_WIDTH_MM),
    }
