"""Feet of known dimensions as a photo sees them, and photos of them."""

import math

from referral.core.geometry.scale import no_scale
from referral.core.measure.film import Film
from tests.core.measure.feet import to_px

SOLE_MM = {
    "toe": (70.0, 0.0),
    "widest_medial": (4.0, -62.0),
    "widest_lateral": (8.0, 66.0),
    "heel_medial": (-62.0, -32.0),
    "heel_lateral": (-58.0, 32.0),
    "frog_apex": (25.0, 0.0),
    "frog_widest_medial": (-50.0, -26.0),
    "frog_widest_lateral": (-50.0, 26.0),
    "frog_widest_level": (-50.0, 0.0),
    "scale_a": (-50.0, -80.0),
    "scale_b": (50.0, -80.0),
}
"""A sole, x to the toe, y to the lateral side: 130 mm long, 128 wide, widest 66 from the heels."""

SOLE_WANTED = {
    "foot_length_mm": 130.0,
    "foot_width_mm": 128.0,
    "behind_widest_percent": 100.0 * 66.0 / 130.0,
    "heel_to_widest_mm": 66.0,
    "half_width_medial_mm": 62.0,
    "half_width_lateral_mm": 66.0,
    "heel_medial_length_mm": 68.0,
    "heel_lateral_length_mm": 64.0,
    "heel_to_frog_widest_mm": 10.0,
    "frog_width_length_ratio": 52.0 / 75.0,
}

SIDE_MM = {
    "toe": (80.0, 0.0),
    "coronet_dorsal": (11.0, 69.0),
    "heel": (-50.0, 0.0),
    "heel_wall_proximal": (-72.0, 22.0),
    "heel_wall_distal": (-50.0, 0.0),
    "wall_proximal": (80.0 - 65.0 / math.tan(math.radians(50.0)), 65.0),
    "wall_distal": (80.0 - 20.0 / math.tan(math.radians(50.0)), 20.0),
    "fetlock_centre": (-38.0, 170.0),
    "pastern_proximal": (-10.0 - 60.0 / math.tan(math.radians(54.0)), 150.0),
    "pastern_distal": (-10.0, 90.0),
    "scale_a": (0.0, -20.0),
    "scale_b": (100.0, -20.0),
}
"""A foot from the side: wall 50, heel 45, pastern 54 degrees, heel 12 mm behind the plumb line."""

SIDE_WANTED = {
    "photo_wall_angle_deg": 50.0,
    "photo_heel_angle_deg": 45.0,
    "photo_toe_heel_difference_deg": 5.0,
    "pastern_angle_deg": 54.0,
    "hoof_pastern_difference_deg": -4.0,
    "photo_toe_length_mm": 69.0 * math.sqrt(2.0),
    "plumb_to_heel_mm": 12.0,
}

FRONT_MM = {
    "ground_medial": (-80.0, 0.0),
    "ground_lateral": (80.0, 0.0),
    "coronet_medial": (-44.0, 66.0),
    "coronet_lateral": (44.0, 68.0),
    "wall_medial_proximal": (-45.0, 60.0),
    "wall_medial_distal": (-50.0, 0.0),
    "wall_lateral_proximal": (45.0, 60.0),
    "wall_lateral_distal": (60.0, 0.0),
    "scale_a": (-50.0, 100.0),
    "scale_b": (50.0, 100.0),
}
"""A foot from the front: the coronet 2 mm higher on the lateral side."""

FRONT_WANTED = {
    "photo_coronet_tilt_deg": math.degrees(math.atan2(2.0, 88.0)),
    "photo_coronet_height_medial_mm": 66.0,
    "photo_coronet_height_lateral_mm": 68.0,
    "photo_wall_angle_medial_deg": math.degrees(math.atan2(60.0, 5.0)),
    "photo_wall_angle_lateral_deg": math.degrees(math.atan2(60.0, 15.0)),
}

FEET = {
    "sole_photo": (SOLE_MM, SOLE_WANTED),
    "side_photo": (SIDE_MM, SIDE_WANTED),
    "front_photo": (FRONT_MM, FRONT_WANTED),
}
"""View -> points in mm, and what they must read."""

ROW_MM, COLUMN_MM = 0.1, 0.1
LENGTH_MM = 100.0


def photo_of(view, points_mm=None, *, without=(), turn_deg=0.0, mirrored=False, **said):
    """Return a photo of a foot, with a rule of 100 mm beside it unless ``said`` otherwise."""
    points = FEET[view][0] if points_mm is None else points_mm
    kept = {name: each for name, each in points.items() if name not in without}
    px = to_px(kept, ROW_MM, COLUMN_MM, turn_deg=turn_deg, mirrored=mirrored)
    given = {
        "view": view,
        "landmarks_px": px,
        "landmarks_mm": None,
        "scale": no_scale(),
        "size_px": None,
        "scale_length_mm": LENGTH_MM,
        "cannon_vertical": True,
    }
    return Film(**(given | said))
