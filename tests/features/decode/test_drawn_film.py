"""A drawn film, decoded: the edges seen in its grey levels lie where the foot's shapes do."""

import math

import numpy as np
import pytest

from referral.films.phantom import Exposure, Foot, draw_phantom
from referral.storage.decode.film import read_film

EXPOSURE = Exposure(row_mm=0.15, column_mm=0.17, seed=5)
SHRINK = 1.0 - EXPOSURE.oid_mm / EXPOSURE.sid_mm
MM_A_PIXEL = np.array([EXPOSURE.column_mm, EXPOSURE.row_mm]) * SHRINK
REACH_MM = 4.0


def grey_at(grey, points_mm):
    """Return grey levels between pixels, by their four neighbours."""
    x, y = np.moveaxis(points_mm / MM_A_PIXEL, -1, 0)
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    across, down = x - left, y - top
    upper = grey[top, left] * (1 - across) + grey[top, left + 1] * across
    lower = grey[top + 1, left] * (1 - across) + grey[top + 1, left + 1] * across
    return upper * (1 - down) + lower * down


def edge_along(grey, first_mm, last_mm, out):
    """Return where brightness falls most steeply, going out, beside a line; shape (n, 2) mm."""
    steps = np.linspace(-REACH_MM, REACH_MM, 161)
    starts = first_mm + np.linspace(0.1, 0.8, 29)[:, None] * (last_mm - first_mm)
    level = grey_at(grey, starts[:, None] + steps[:, None] * out)
    smooth = np.apply_along_axis(np.convolve, 1, level, np.full(9, 1 / 9), "valid")
    fall = np.argmin(np.gradient(smooth, axis=1), axis=1)
    return starts + steps[4:-4][fall][:, None] * out


def fitted(points):
    """Return the middle and the direction, to the right, of the line through points."""
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle, full_matrices=False)[2][0]
    return middle, along * np.sign(along[0])


@pytest.mark.parametrize(
    "foot",
    [
        Foot(),
        Foot(dorsal_p3_angle_deg=58.0, palmar_angle_deg=12.0, founder_distance_mm=15.0,
             toe_distance_mm=46.0, breakover_distance_mm=40.0),
    ],
    ids=["normal", "rotated"],
)  # fmt: skip
def test_the_front_face_of_the_coffin_bone_is_where_its_landmarks_say(foot):
    phantom = draw_phantom(foot, EXPOSURE)
    grey = read_film(phantom.dicom, "film.dcm").pixels.astype(float)
    at = {name: np.array(each) * MM_A_PIXEL for name, each in phantom.landmarks_px.items()}
    upper, lower = at["p3_dorsal_proximal"], at["p3_dorsal_distal"]
    slope = math.radians(foot.dorsal_p3_angle_deg)
    out = np.array([math.sin(slope), -math.cos(slope)])
    middle, along = fitted(edge_along(grey, upper, lower, out))
    assert math.degrees(math.atan2(along[1], along[0])) == pytest.approx(
        foot.dorsal_p3_angle_deg, abs=0.5
    )
    assert (middle - upper) @ out == pytest.approx(0.0, abs=0.3)


def test_the_sole_of_the_coffin_bone_stands_as_high_as_it_was_drawn():
    foot = Foot(tip_to_ground_mm=20.0, sole_depth_tip_mm=16.0)
    phantom = draw_phantom(foot, EXPOSURE)
    grey = read_film(phantom.dicom, "film.dcm").pixels.astype(float)
    at = {name: np.array(each) * MM_A_PIXEL for name, each in phantom.landmarks_px.items()}
    tip, process = at["p3_tip"], at["p3_palmar_process"]
    edge = edge_along(grey, process, tip, np.array([0.0, 1.0]))
    ground_mm = at["ground_dorsal"][1]
    # The lower edge runs from the process to the tip, bowed up by less than 1.5 mm.
    share = (edge[:, 0] - process[0]) / (tip[0] - process[0])
    straight = process[1] + share * (tip[1] - process[1])
    assert ground_mm - tip[1] == pytest.approx(20.0, abs=1e-6)
    assert np.median(straight - edge[:, 1]) == pytest.approx(0.5, abs=1.0)
    assert np.abs(straight - edge[:, 1]).max() < 2.0
