"""A foot of known dimensions, and films of it."""

import math

import numpy as np

from referral.core.geometry.scale import spacing_scale
from referral.core.measure.film import Film

COS50, SIN50 = math.cos(math.radians(50.0)), math.sin(math.radians(50.0))

FOOT_MM = {
    "p3_tip": (0.0, 15.0),
    "p3_palmar_process": (-71.726, 21.275),
    "p3_dorsal_proximal": (-38.567, 60.963),
    "p3_dorsal_distal": (-38.567 + 60.0 * COS50, 60.963 - 60.0 * SIN50),
    "wall_proximal": (-25.545, 71.890),
    "wall_distal": (41.494, 0.0),
    "toe": (41.494, 0.0),
    "breakover": (41.494, 0.0),
    "heel": (-105.0, 0.0),
    "heel_wall_proximal": (-130.0, 25.0),
    "heel_wall_distal": (-105.0, 0.0),
    "hairline": (-28.955, 75.547),
    "extensor_process": (-41.0, 66.0),
    "sole_under_tip": (0.0, 3.0),
    "sole_under_process": (-71.726, 6.0),
    "palmar_cortex_proximal": (-66.0 * COS50, 15.0 + 66.0 * SIN50),
    "horn_inner_mid": (-19.283 + 7.0 * SIN50, 37.981 + 7.0 * COS50),
    "p2_dorsal_proximal": (-60.0, 100.0),
    "p2_dorsal_distal": (-38.0, 78.0),
    "p2_condyle": tuple(
        (-52.0 + 20.0 * math.cos(turn), 62.0 + 20.0 * math.sin(turn))
        for turn in np.radians([190.0, 230.0, 270.0, 310.0, 350.0])
    ),
}
"""The worked foot, foot frame, mm: palmar angle 5, bone 50, wall 47, heel 45 degrees."""

GROUND_MM = {"ground_palmar": (-120.0, 0.0), "ground_dorsal": (80.0, 0.0)}
ROW_MM, COLUMN_MM = 0.10, 0.20
SIZE_PX = (2400, 3000)

FRONT_MM = {
    "p3_margin_medial": (-38.0, 18.0),
    "p3_margin_lateral": (38.0, 20.0),
    "sole_medial": (-38.0, 0.0),
    "sole_lateral": (38.0, 0.0),
    "dip_p3_medial": (-25.0, 50.0),
    "dip_p3_lateral": (25.0, 50.0),
    "dip_p2_medial": (-25.0, 52.0),
    "dip_p2_lateral": (25.0, 52.6),
    "wall_medial_proximal": (-45.0, 60.0),
    "wall_medial_distal": (-50.0, 0.0),
    "wall_lateral_proximal": (45.0, 60.0),
    "wall_lateral_distal": (60.0, 0.0),
    "p3_wall_medial": (-36.0, 30.0),
    "p3_wall_lateral": (37.0, 30.0),
    "coronet_medial": (-44.0, 66.0),
    "coronet_lateral": (44.0, 68.0),
}
"""A foot seen from the front: joint space 2.0 and 2.6 mm, soles 18 and 20 mm."""


def to_px(points_mm, row_mm=ROW_MM, column_mm=COLUMN_MM, turn_deg=0.0, mirrored=False):
    """Return foot points as pixels of a picture with the ground line across it."""
    turn = math.radians(turn_deg)
    turned = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    flip = np.array([-1.0 if mirrored else 1.0, -1.0])
    middle = np.array([240.0, 150.0])
    return {
        name: ((np.array(each) - (-20.0, 40.0)) * flip @ turned + middle) / (column_mm, row_mm)
        for name, each in points_mm.items()
    }


def film_of(points_mm=None, *, without=(), **said):
    """Return a calibrated film of the worked foot, or of other points."""
    points = {**FOOT_MM, **GROUND_MM} if points_mm is None else dict(points_mm)
    kept = {name: each for name, each in points.items() if name not in without}
    given = {
        "view": "lateromedial",
        "landmarks_px": to_px(kept),
        "landmarks_mm": None,
        "scale": spacing_scale(ROW_MM, COLUMN_MM, "corrected", "fiducial"),
        "size_px": SIZE_PX,
    }
    return Film(**(given | said))


def foot_frame_film(points_mm=None, **said):
    """Return the same foot given in the foot frame."""
    points = FOOT_MM if points_mm is None else points_mm
    given = {
        "view": "lateromedial",
        "landmarks_px": None,
        "landmarks_mm": points,
        "scale": spacing_scale(ROW_MM, COLUMN_MM, "none"),
        "size_px": None,
    }
    return Film(**(given | said))


def values(measured):
    """Return code -> value."""
    return {code: reading.value for code, reading in measured.readings.items()}
