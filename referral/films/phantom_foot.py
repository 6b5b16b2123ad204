"""A foot of known dimensions: where its bones and its horn lie, side on, in the foot frame.

Lengths in mm, angles in degrees; x to the toe, y up, y = 0 on the ground, the coffin bone's
tip at x = 0. Shapes are plain ones, drawn to be measured: common proportions, no source.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from referral.core.errors import CoreError
from referral.core.geometry.points import Floats

JOINT_GAP_MM = 1.6
LARGEST_CONDYLE_MM = 17.0
PROCESS_BEHIND_CORTEX_MM = 6.0
PROCESS_APART_MM = 4.0
BULB_HEIGHT_MM = 30.0

JOINT_ALONG_MM = (40.0, 85.0)
JOINT_BEHIND_MM = (13.0, 34.0)
SLOPES_DEG = (20.0, 80.0)
PALMAR_DEG = (-30.0, 30.0)
CORTEX_COSINE = (-0.9, 0.85)


@dataclass(frozen=True, slots=True)
class Foot:
    """What a foot measures; the defaults are a plausible front foot of a grown horse."""

    palmar_angle_deg: float = 5.0
    dorsal_p3_angle_deg: float = 50.0
    wall_angle_deg: float = 50.0
    heel_angle_deg: float = 47.0
    p2_angle_deg: float = 51.0
    tip_to_ground_mm: float = 17.0
    sole_depth_tip_mm: float = 14.0
    toe_distance_mm: float = 37.0
    breakover_distance_mm: float = 28.0
    bearing_length_mm: float = 136.0
    heel_arm_mm: float = 45.0
    dip_height_mm: float = 52.0
    founder_distance_mm: float = 9.0
    palmar_cortex_length_mm: float = 66.0
    wall_thickness_mm: float = 17.0
    lamellar_zone_mm: float = 7.0


@dataclass(frozen=True, slots=True)
class Anatomy:
    """Landmarks (several-point ones as rows) and outlines of a foot, foot frame, mm."""

    landmarks: Mapping[str, Floats]
    outlines: Mapping[str, Floats]
    truth: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Frame:
    """What the outlines hang on: points and directions worked out of the dimensions."""

    tip: Floats
    up: Floats
    out: Floats
    centre: Floats
    radius: float
    along: float
    extensor: Floats
    cortex: Floats
    process: Floats
    other_process: Floats
    hairline: Floats
    wall_down: Floats
    toe: Floats
    heel: Floats
    bulb: Floats


def toward(angle_deg: float) -> Floats:
    """Return the direction of an angle, anticlockwise from the toe's side."""
    return np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])


def moved(point: Floats, x_mm: float, y_mm: float) -> Floats:
    """Return a point moved so far to the toe and up."""
    return np.asarray(point + np.array([x_mm, y_mm]), float)


def frame_of(foot: Foot) -> Frame:
    """Return the points that a foot's shapes hang on.

    Raises
    ------
    CoreError
        If the dimensions contradict each other; says how.
    """
    _check_numbers(foot)
    tip = np.array([0.0, foot.tip_to_ground_mm])
    up, out = toward(180.0 - foot.dorsal_p3_angle_deg), toward(90.0 - foot.dorsal_p3_angle_deg)
    heel = np.array([foot.toe_distance_mm - foot.bearing_length_mm, 0.0])
    centre = np.array([heel[0] + foot.heel_arm_mm, foot.dip_height_mm])
    along, depth = float((centre - tip) @ up), float((tip - centre) @ out)
    _require(
        _within(along, JOINT_ALONG_MM), "The coffin joint would not lie above the coffin bone."
    )
    _require(
        _within(depth, JOINT_BEHIND_MM),
        "The coffin joint would not lie behind the bone's front face.",
    )
    radius = min(depth - 3.0, LARGEST_CONDYLE_MM)
    extensor = tip + (along + 3.0) * up - 2.5 * out
    reach = foot.palmar_cortex_length_mm + PROCESS_BEHIND_CORTEX_MM
    back = toward(180.0 - foot.palmar_angle_deg)
    wall_down = toward(-foot.wall_angle_deg)
    on_wall = tip + (along - 7.0) * up + foot.wall_thickness_mm * out
    hairline_y = float(extensor[1]) + foot.founder_distance_mm
    rise = (hairline_y - on_wall[1]) / wall_down[1]
    bulb_run = BULB_HEIGHT_MM / math.sin(math.radians(foot.heel_angle_deg))
    return Frame(
        tip=tip,
        up=up,
        out=out,
        centre=centre,
        radius=radius,
        along=along,
        extensor=extensor,
        cortex=_cortex_end(foot, tip, centre, radius),
        process=tip + reach * back,
        other_process=tip + (reach - PROCESS_APART_MM) * back,
        hairline=on_wall + rise * wall_down,
        wall_down=wall_down,
        toe=_toe(foot, on_wall, wall_down),
        heel=heel,
        bulb=heel + bulb_run * toward(180.0 - foot.heel_angle_deg),
    )


def _within(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] <= value <= limits[1]


def _require(holds: bool, sentence: str) -> None:
    if not holds:
        raise CoreError(sentence, at="foot")


def _check_numbers(foot: Foot) -> None:
    for name in Foot.__slots__:
        _require(math.isfinite(getattr(foot, name)), f"{name} must be a finite number.")
    for name in ("dorsal_p3_angle_deg", "wall_angle_deg", "heel_angle_deg", "p2_angle_deg"):
        _require(_within(getattr(foot, name), SLOPES_DEG), f"{name} must be from 20 to 80 degrees.")
    _require(_within(foot.palmar_angle_deg, PALMAR_DEG), "palmar_angle_deg must be from -30 to 30.")
    _require(
        0.0 < foot.sole_depth_tip_mm <= foot.tip_to_ground_mm,
        "The sole below the tip would reach through the ground: "
        "sole_depth_tip_mm is at most tip_to_ground_mm.",
    )
    _require(
        0.0 < foot.lamellar_zone_mm < foot.wall_thickness_mm,
        "The lucent zone lies inside the wall: lamellar_zone_mm is less than wall_thickness_mm.",
    )
    _require(
        foot.breakover_distance_mm <= foot.toe_distance_mm,
        "The foot cannot break over in front of its toe.",
    )


def _toe(foot: Foot, on_wall: Floats, wall_down: Floats) -> Floats:
    straight_x = float(on_wall[0] - on_wall[1] * wall_down[0] / wall_down[1])
    _require(
        straight_x - 12.0 <= foot.toe_distance_mm <= straight_x + 30.0,
        f"The wall at that angle and thickness meets the ground {straight_x:.0f} mm in front of "
        f"the tip; toe_distance_mm must be near it.",
    )
    lift = min(1.5, 0.15 * (foot.toe_distance_mm - foot.breakover_distance_mm))
    return np.array([foot.toe_distance_mm, lift])


def _cortex_end(foot: Foot, tip: Floats, centre: Floats, radius: float) -> Floats:
    """Return where the palmar cortex ends: its length from the tip, on the joint's surface."""
    to_tip = tip - centre
    far, near = float(np.hypot(*to_tip)), radius + JOINT_GAP_MM
    cosine = (far**2 + near**2 - foot.palmar_cortex_length_mm**2) / (2.0 * far * near)
    _require(
        _within(cosine, CORTEX_COSINE),
        f"A palmar cortex of {foot.palmar_cortex_length_mm:g} mm does not reach from the tip to "
        "the coffin joint's rear; move the joint (heel_arm_mm, bearing_length_mm, dip_height_mm).",
    )
    angle = math.atan2(to_tip[1], to_tip[0]) - math.acos(cosine)
    return np.asarray(centre + near * toward(math.degrees(angle)))


def landmarks_of(foot: Foot, frame: Frame) -> dict[str, Floats]:
    """Return every landmark that a bare foot has, side on; ``p2_condyle`` as seven points."""
    start = frame.tip + (frame.along - 7.0) * frame.up
    end = frame.tip + 9.0 * frame.up
    back = toward(180.0 - foot.p2_angle_deg)
    front = toward(90.0 - foot.p2_angle_deg)
    dorsal = frame.centre + (frame.radius - 2.5) * front
    heel_up = (frame.bulb - frame.heel) / BULB_HEIGHT_MM
    cup_mm = foot.tip_to_ground_mm - foot.sole_depth_tip_mm
    under = float(frame.process[0] + frame.other_process[0]) / 2.0
    arc = 90.0 - foot.p2_angle_deg - np.linspace(20.0, 160.0, 7)
    wall_mm = float(frame.hairline[1]) / math.sin(math.radians(foot.wall_angle_deg))
    return {
        "ground_palmar": moved(frame.heel, -12.0, 0.0),
        "ground_dorsal": np.array([foot.toe_distance_mm + 9.0, 0.0]),
        "p3_tip": frame.tip,
        "p3_palmar_process": frame.process,
        "p3_palmar_process_2": frame.other_process,
        "p3_dorsal_proximal": start,
        "p3_dorsal_distal": end,
        "extensor_process": frame.extensor,
        "palmar_cortex_proximal": frame.cortex,
        "hairline": frame.hairline,
        "wall_proximal": frame.hairline + 7.0 * frame.wall_down,
        "wall_distal": frame.hairline + 0.45 * wall_mm * frame.wall_down,
        "toe": frame.toe,
        "breakover": np.array([foot.breakover_distance_mm, 0.0]),
        "heel": frame.heel,
        "heel_wall_proximal": frame.heel + 25.0 * heel_up,
        "heel_wall_distal": frame.heel + 5.0 * heel_up,
        "p2_condyle": np.array([frame.centre + frame.radius * toward(each) for each in arc]),
        "p2_dorsal_proximal": dorsal + 28.0 * back,
        "p2_dorsal_distal": dorsal + 11.0 * back,
        "sole_under_tip": np.array([0.0, cup_mm]),
        "sole_under_process": np.array([under, cup_mm + 2.0]),
        "horn_inner_mid": (start + end) / 2.0 + foot.lamellar_zone_mm * frame.out,
    }


def truth_of(foot: Foot, frame: Frame) -> dict[str, float]:
    """Return what each reading of this foot is, by its code, from the dimensions alone."""
    rotation = foot.dorsal_p3_angle_deg - foot.wall_angle_deg
    spread = (frame.along - 16.0) * math.tan(math.radians(rotation))
    toe_arm = foot.breakover_distance_mm - float(frame.centre[0])
    process_y = float(frame.process[1] + frame.other_process[1]) / 2.0
    cup_mm = foot.tip_to_ground_mm - foot.sole_depth_tip_mm
    mid_mm = foot.wall_thickness_mm + spread / 2.0
    return {
        "palmar_angle_deg": foot.palmar_angle_deg,
        "dorsal_p3_angle_deg": foot.dorsal_p3_angle_deg,
        "dorsal_wall_angle_deg": foot.wall_angle_deg,
        "heel_angle_deg": foot.heel_angle_deg,
        "toe_heel_difference_deg": foot.wall_angle_deg - foot.heel_angle_deg,
        "capsular_rotation_deg": rotation,
        "p2_angle_deg": foot.p2_angle_deg,
        "phalangeal_rotation_deg": foot.dorsal_p3_angle_deg - foot.p2_angle_deg,
        "bone_angle_deg": foot.dorsal_p3_angle_deg - foot.palmar_angle_deg,
        "founder_distance_mm": foot.founder_distance_mm,
        "wall_thickness_proximal_mm": foot.wall_thickness_mm,
        "wall_thickness_mid_mm": mid_mm,
        "wall_thickness_distal_mm": foot.wall_thickness_mm + spread,
        "wall_to_cortex_ratio": mid_mm / foot.palmar_cortex_length_mm,
        "lamellar_lucent_zone_mm": foot.lamellar_zone_mm,
        "palmar_cortex_length_mm": foot.palmar_cortex_length_mm,
        "sole_depth_tip_mm": foot.sole_depth_tip_mm,
        "sole_depth_process_mm": process_y - cup_mm - 2.0,
        "tip_to_ground_mm": foot.tip_to_ground_mm,
        "sole_cup_tip_mm": cup_mm,
        "breakover_distance_mm": foot.breakover_distance_mm,
        "toe_distance_mm": foot.toe_distance_mm,
        "toe_arm_mm": toe_arm,
        "heel_arm_mm": foot.heel_arm_mm,
        "behind_centre_percent": 100.0 * foot.heel_arm_mm / (toe_arm + foot.heel_arm_mm),
        "dip_height_mm": foot.dip_height_mm,
        "bearing_length_mm": foot.bearing_length_mm,
    }
