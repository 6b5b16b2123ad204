"""A drawn film has the dimensions it was drawn from: in its landmarks and in its pixels."""

import io
import math
import subprocess
from dataclasses import replace
from datetime import date

import numpy as np
import pydicom
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from referral.core.errors import CoreError
from referral.core.geometry.frames import pixels_to_mm
from referral.core.geometry.scale import marker_scale
from referral.core.measure.film import Film, measure
from referral.core.measure.landmarks import LATEROMEDIAL
from referral.core.measure.lateromedial import NEEDS
from referral.films.phantom import Exposure, Foot, Phantom, draw_phantom
from referral.films.phantom_foot import frame_of
from referral.films.phantom_outlines import marker_ends
from referral.films.phantom_picture import Sight, expose
from referral.storage.decode.film import read_film

FEET = {
    "normal": Foot(),
    "under-run heels": Foot(
        palmar_angle_deg=1.0,
        heel_angle_deg=38.0,
        dorsal_p3_angle_deg=46.5,
        wall_angle_deg=46.0,
        p2_angle_deg=50.0,
        toe_distance_mm=42.0,
        breakover_distance_mm=38.0,
        heel_arm_mm=42.0,
    ),
    "laminitic": Foot(
        palmar_angle_deg=12.0,
        dorsal_p3_angle_deg=58.0,
        wall_angle_deg=50.0,
        tip_to_ground_mm=12.0,
        sole_depth_tip_mm=9.0,
        founder_distance_mm=15.0,
        toe_distance_mm=46.0,
        breakover_distance_mm=40.0,
    ),
}
UNEVEN = Exposure(row_mm=0.15, column_mm=0.17, seed=3)
SMALL = Exposure(row_mm=0.65, column_mm=0.7, size_px=(340, 280), noise=0.0)


def read_back(phantom: Phantom, exposure: Exposure):
    """Measure a film as a vet would: by its landmarks and the marker's ends alone."""
    aspect = (exposure.row_mm, exposure.column_mm)
    scale = marker_scale(
        np.array(phantom.marker_ends_px), phantom.marker_length_mm, pixel_aspect=aspect
    )
    points = {name: np.array(at) for name, at in phantom.landmarks_px.items()}
    return measure(
        Film(
            view="lateromedial",
            landmarks_px=points,
            landmarks_mm=None,
            scale=scale,
            size_px=exposure.size_px,
        )
    )


def assert_true(phantom: Phantom, exposure: Exposure):
    found = read_back(phantom, exposure)
    assert found.readings.keys() == phantom.truth.keys()
    for code, value in phantom.truth.items():
        assert found.readings[code].value == pytest.approx(value, abs=1e-6), code
        assert found.readings[code].scale_state == "marker"
    return found


@pytest.mark.parametrize("name", FEET)
def test_placing_its_landmarks_returns_its_dimensions(name):
    for exposure in (UNEVEN, replace(UNEVEN, mirrored=True, limb="RH", oid_mm=0.0)):
        assert_true(draw_phantom(FEET[name], exposure), exposure)


def test_every_reading_of_a_bare_foot_is_there():
    phantom = draw_phantom(Foot(), SMALL)
    on_a_shod_foot = {"bearing_palmar", "bearing_dorsal"}
    assert phantom.landmarks_px.keys() == LATEROMEDIAL.keys() - on_a_shod_foot
    assert phantom.truth.keys() == NEEDS.keys() - {"sole_to_shoe_mm"}
    assert len(phantom.landmarks_px["p2_condyle"]) >= 5
    truth = phantom.truth
    laminitic = draw_phantom(FEET["laminitic"], SMALL).truth
    assert (truth["capsular_rotation_deg"], laminitic["capsular_rotation_deg"]) == (0.0, 8.0)
    assert laminitic["sole_depth_tip_mm"] == 9.0
    assert laminitic["wall_thickness_distal_mm"] > laminitic["wall_thickness_proximal_mm"] + 5.0


@settings(max_examples=25)
@given(
    palmar=st.floats(-2, 14),
    rotation=st.floats(-2, 9),
    wall=st.floats(45, 55),
    heel=st.floats(36, 55),
    depth=st.floats(7, 16),
    sid=st.floats(600, 1200),
    oid=st.floats(0, 150),
)
def test_any_foot_at_any_distance_reads_true(palmar, rotation, wall, heel, depth, sid, oid):
    foot = Foot(
        palmar_angle_deg=palmar,
        dorsal_p3_angle_deg=wall + rotation,
        wall_angle_deg=wall,
        heel_angle_deg=heel,
        sole_depth_tip_mm=depth,
        toe_distance_mm=40.0,
    )
    exposure = replace(SMALL, sid_mm=sid, oid_mm=oid)
    try:
        phantom = draw_phantom(foot, exposure)
    except CoreError:
        reject()
    assert_true(phantom, exposure)


def test_what_is_read_without_the_marker_is_too_long_by_the_magnification():
    exposure = replace(UNEVEN, sid_mm=700.0, oid_mm=80.0)
    phantom = draw_phantom(Foot(), exposure)
    ends = pixels_to_mm(np.array(phantom.marker_ends_px), exposure.row_mm, exposure.column_mm)
    # SID 700, OID 80: M = 1.1290, so a 60 mm rod is 67.74 mm on the plate. Similar triangles.
    assert math.dist(*ends) == pytest.approx(67.74, abs=0.005)


def grey_of(phantom: Phantom, exposure: Exposure):
    film = read_film(phantom.dicom, "film.dcm")
    assert film.size_px == exposure.size_px
    return film.pixels.astype(float)


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_rod_and_the_ground_are_found_in_the_picture(mirrored):
    exposure = replace(UNEVEN, mirrored=mirrored, seed=8)
    phantom = draw_phantom(Foot(), exposure)
    bright = grey_of(phantom, exposure) > 235
    rows = np.nonzero(bright.mean(axis=1) > 0.95)[0]
    ground_y = phantom.landmarks_px["ground_dorsal"][1]
    assert rows.mean() == pytest.approx(ground_y, abs=1.0)
    y, x = np.nonzero(bright[: rows.min() - 3])
    shrink = 1.0 - exposure.oid_mm / exposure.sid_mm
    metal = np.stack([x * exposure.column_mm, y * exposure.row_mm], axis=1) * shrink
    middle = metal.mean(axis=0)
    along = np.linalg.svd(metal - middle, full_matrices=False)[2][0]
    reach = (metal - middle) @ along
    assert np.ptp(reach) == pytest.approx(60.0, abs=0.8)
    slope = math.degrees(math.atan2(along[1], along[0] * (-1 if mirrored else 1))) % 180.0
    assert slope == pytest.approx(Foot().wall_angle_deg, abs=0.5)
    ends = np.array(phantom.marker_ends_px) * (exposure.column_mm, exposure.row_mm) * shrink
    assert middle == pytest.approx(ends.mean(axis=0), abs=0.3)


@pytest.mark.parametrize("name", FEET)
def test_bone_is_brighter_than_flesh_and_flesh_than_air(name):
    phantom = draw_phantom(FEET[name], UNEVEN)
    grey = grey_of(phantom, UNEVEN)

    def around(x, y):
        place = (slice(int(y) - 3, int(y) + 4), slice(int(x) - 3, int(x) + 4))
        return float(grey[place].mean())

    at = {key: np.array(value) for key, value in phantom.landmarks_px.items()}
    condyle = at["p2_condyle"].mean(axis=0)
    p3 = (at["p3_tip"] + at["extensor_process"] + at["palmar_cortex_proximal"]) / 3
    bare = (at["extensor_process"] + at["p3_tip"]) / 2 * 0.8 + at["wall_distal"] * 0.2
    air = at["toe"] + (20, -400)
    assert around(*condyle) > around(*bare) + 25
    assert around(*p3) > around(*bare) + 25
    assert around(*bare) > around(*air) + 60
    assert grey.std() > 40


def test_the_file_is_a_radiograph_that_others_read(tmp_path):
    exposure = replace(UNEVEN, limb="RH", taken_on=date(2026, 3, 2), magnification_tag=True)
    phantom = draw_phantom(Foot(), exposure, patient_name="Zoë^Å")
    film = read_film(phantom.dicom, "film.dcm")
    assert (film.kind, film.modality, film.view, film.limb) == ("dicom", "DX", "lateromedial", "RH")
    assert film.scale.state == "estimated"
    assert film.scale.row_mm == pytest.approx(0.15 * 620 / 700, rel=1e-5)
    assert film.warnings == ()
    dataset = pydicom.dcmread(io.BytesIO(phantom.dicom))
    assert str(dataset.PatientName) == "Zoë^Å"
    assert dataset.AnatomicalOrientationType == "QUADRUPED"
    assert list(dataset.PatientOrientation) == ["D", "DI"]
    assert dataset.AcquisitionDate == "20260302"
    assert (dataset.BitsStored, int(dataset.pixel_array.max()) >> 12) == (12, 0)
    path = tmp_path / "film.dcm"
    path.write_bytes(phantom.dicom)
    run = subprocess.run(
        ["dcm2pnm", "+op", "+Wi", "1", path, tmp_path / "film.pgm"], capture_output=True, check=True
    )
    assert run.stderr == b""
    theirs = np.fromfile(tmp_path / "film.pgm", np.uint8)[-film.pixels.size :]
    apart = np.abs(theirs.reshape(film.pixels.shape).astype(int) - film.pixels)
    assert apart.max() <= 1


def test_without_the_tag_the_file_itself_gives_no_scale():
    plain = read_film(draw_phantom(Foot(), SMALL).dicom, "film.dcm")
    assert (plain.scale.state, plain.scale.conflict) == ("none", False)
    assert plain.identity_present == ()


def test_the_same_seed_draws_the_same_film_and_another_does_not():
    noisy = replace(SMALL, noise=1.0)
    one, again = draw_phantom(Foot(), noisy), draw_phantom(Foot(), noisy)
    other = draw_phantom(Foot(), replace(noisy, seed=1))
    assert one.dicom == again.dicom
    assert one.dicom != other.dicom
    assert one.landmarks_px == other.landmarks_px


def test_bits_stored_are_the_ones_asked_for():
    film = pydicom.dcmread(io.BytesIO(draw_phantom(Foot(), replace(SMALL, bits_stored=14)).dicom))
    assert 8192 < int(film.pixel_array.max()) < 16384


def test_a_film_beside_the_foot_shows_air():
    frame = frame_of(Foot())
    beside = Sight(0.5, 0.5, (-400.0, -20.0), (60, 40), mirrored=False)
    ends = marker_ends(frame, 60.0)
    rng = np.random.default_rng(0)
    block = expose(Foot(), frame, ends, beside, bits=12, noise=0.0, rng=rng)
    above = replace(beside, origin_px=(-400.0, 3000.0))
    air = expose(Foot(), frame, ends, above, bits=12, noise=0.0, rng=rng)
    assert air.shape == (40, 60)
    assert air.max() < 300 < block.max()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"sole_depth_tip_mm": 18.0}, "through the ground"),
        ({"sole_depth_tip_mm": 0.0}, "through the ground"),
        ({"breakover_distance_mm": 40.0}, "in front of its toe"),
        ({"lamellar_zone_mm": 17.0}, "inside the wall"),
        ({"toe_distance_mm": 90.0, "bearing_length_mm": 189.0}, "meets the ground"),
        ({"heel_arm_mm": 95.0}, "coffin joint"),
        ({"dip_height_mm": 90.0}, "coffin joint"),
        ({"palmar_cortex_length_mm": 110.0}, "palmar cortex of 110 mm"),
        ({"wall_angle_deg": 5.0}, "wall_angle_deg"),
        ({"palmar_angle_deg": 40.0}, "palmar_angle_deg"),
        ({"tip_to_ground_mm": math.nan}, "finite"),
    ],
)
def test_dimensions_that_contradict_each_other_are_refused(changed, sentence):
    with pytest.raises(CoreError, match=sentence):
        draw_phantom(replace(Foot(), **changed), SMALL)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"row_mm": 0.0}, "spacing"),
        ({"column_mm": 1.5}, "spacing"),
        ({"oid_mm": 500.0}, "oid_mm"),
        ({"bits_stored": 7}, "bits_stored"),
        ({"size_px": (150, 900)}, "pixels"),
        ({"limb": "left"}, "limb"),
        ({"marker_length_mm": 0.0}, "marker_length_mm"),
        ({"noise": -1.0}, "noise"),
        ({"row_mm": 0.1, "column_mm": 0.1}, "does not fit"),
    ],
)
def test_a_film_that_cannot_be_taken_is_refused(changed, sentence):
    with pytest.raises(CoreError, match=sentence):
        draw_phantom(Foot(), replace(SMALL, **changed))
