"""A synthetic foot whose readings are known by construction, and ways to film it."""

from datetime import date

import numpy as np

from referral.core.geometry.scale import no_scale
from referral.core.measure.film import Film
from referral.core.measure.readings import Measured, Profile, Reading
from referral.core.predict.plan import Plan, Shoe
from referral.core.units import unit_of

ON = date(2026, 11, 25)
FORE = Profile("LF", "adult_horse", ON)

CENTRE = (-52.0, 62.0)
LANDMARKS = {
    "p3_tip": [0.0, 15.0],
    "p3_palmar_process": [-71.726, 21.275],
    "p3_dorsal_proximal": [-38.567, 60.963],
    "p3_dorsal_distal": [0.0, 15.0],
    "wall_proximal": [-25.545, 71.890],
    "wall_distal": [41.494, 0.0],
    "toe": [41.494, 0.0],
    "breakover": [41.494, 0.0],
    "heel": [-105.0, 0.0],
    "heel_wall_proximal": [-130.0, 25.0],
    "heel_wall_distal": [-105.0, 0.0],
    "sole_under_tip": [0.0, 3.0],
    "hairline": [-28.955, 75.547],
    "extensor_process": [-41.0, 66.0],
    "p2_dorsal_proximal": [-60.0, 105.0],
    "p2_dorsal_distal": [-42.0, 84.0],
    "p2_condyle": [
        [CENTRE[0] + 20 * np.cos(turn), CENTRE[1] + 20 * np.sin(turn)]
        for turn in np.radians([180.0, 225.0, 270.0, 315.0])
    ],
}

FULL_SHOE = Shoe("straight_bar", thickness_mm=10, breakover_setback_mm=20, heel_extension_mm=8)
PLANS = {
    "nothing": Plan(),
    "heel": Plan(heel_trim_mm=5.0),
    "toe": Plan(toe_trim_mm=5.0),
    "all": Plan(heel_trim_mm=5.0, wedge_deg=3.0, shoe=FULL_SHOE),
}


def points(*without):
    """Return the foot's landmarks as arrays, less those named."""
    return {name: np.array(xy) for name, xy in LANDMARKS.items() if name not in without}


def film(*without, **changes):
    """Return a film of the foot, already in millimetres."""
    landmarks = {name: xy for name, xy in LANDMARKS.items() if name not in without}
    landmarks |= changes.pop("landmarks", {})
    return Film("lateromedial", None, landmarks, no_scale(), None, **changes)


def shod_film(**changes):
    """Return a film of the foot raised by a shoe of 10 mm that reaches beyond the hoof."""
    raised = {name: np.add(xy, [0.0, 10.0]).tolist() for name, xy in LANDMARKS.items()}
    raised |= {"bearing_dorsal": [41.494, 10.0], "bearing_palmar": [-105.0, 10.0]}
    raised |= {"toe": [45.0, 0.0], "breakover": [20.0, 0.0], "heel": [-115.0, 0.0]}
    return Film("lateromedial", None, raised, no_scale(), None, shod="yes", **changes)


def stated(u=0.72, scale="marker", **values):
    """Return readings stated by hand."""
    return Measured(
        {
            code: Reading(code, value, u, unit_of(code) or "", scale, "stated")
            for code, value in values.items()
        }
    )


STATED = {
    "palmar_angle_deg": 5.0,
    "dorsal_wall_angle_deg": 47.0,
    "heel_angle_deg": 45.0,
    "tip_to_ground_mm": 15.0,
    "sole_depth_tip_mm": 12.0,
    "toe_distance_mm": 41.494,
    "breakover_distance_mm": 41.494,
    "toe_arm_mm": 93.494,
    "bearing_length_mm": 146.494,
    "dip_height_mm": 62.0,
}
"""What the same foot reads, as a vet would type it."""


def values(measured):
    """Return the values alone, by code."""
    return {code: reading.value for code, reading in measured.readings.items()}
