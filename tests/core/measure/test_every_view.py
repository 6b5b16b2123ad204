"""What geometry says of every view alike: how the picture lies changes nothing, size does."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from referral.core.geometry.scale import spacing_scale
from referral.core.measure.film import Film, foot_points, measure, placement
from referral.core.measure.uncertainty import monte_carlo
from referral.core.measure.views import VIEWS
from tests.core.measure.feet import FOOT_MM, FRONT_MM, GROUND_MM, to_px, values
from tests.core.measure.photos import FEET

ROW_MM, COLUMN_MM = 0.10, 0.20
POINTS_MM = {
    "lateromedial": {**FOOT_MM, **GROUND_MM},
    "dorsopalmar": {**FRONT_MM, "ground_medial": (-70.0, 0.0), "ground_lateral": (70.0, 0.0)},
    **{view: points for view, (points, _wanted) in FEET.items()},
}
EVERY_VIEW = sorted(VIEWS)
SPACINGS = st.floats(0.05, 0.4)


def film_seen(view, points_mm=None, row=ROW_MM, column=COLUMN_MM, **how):
    """Return a calibrated film or photo of a foot, lying in the picture as ``how`` says."""
    return Film(
        view=view,
        landmarks_px=to_px(points_mm or POINTS_MM[view], row, column, **how),
        landmarks_mm=None,
        scale=spacing_scale(row, column, "corrected", "fiducial"),
        size_px=None,
        cannon_vertical=True,
    )


def in_foot(view):
    return {name: np.array(each) for name, each in foot_points(film_seen(view)).items()}


def test_the_feet_here_are_those_of_all_views():
    assert POINTS_MM.keys() == VIEWS.keys()


@settings(deadline=None, max_examples=60)
@given(
    view=st.sampled_from(EVERY_VIEW),
    turn_deg=st.floats(-180.0, 180.0),
    mirrored=st.booleans(),
    spacing=st.tuples(SPACINGS, SPACINGS),
    shift=st.tuples(st.floats(-900.0, 900.0), st.floats(-900.0, 900.0)),
)
def test_turning_mirroring_moving_or_resampling_the_picture_changes_no_reading(
    view, turn_deg, mirrored, spacing, shift
):
    film = film_seen(view, None, *spacing, turn_deg=turn_deg, mirrored=mirrored)
    moved = {name: each + shift for name, each in film.landmarks_px.items()}
    straight = measure(film_seen(view)).readings
    other = measure(replace(film, landmarks_px=moved)).readings
    assert other.keys() == straight.keys()
    for code, reading in straight.items():
        assert other[code].value == pytest.approx(reading.value, abs=1e-6), code
        assert other[code].u == pytest.approx(reading.u, rel=1e-3), code


@settings(deadline=None, max_examples=40)
@given(view=st.sampled_from(EVERY_VIEW), factor=st.floats(0.2, 5.0))
def test_a_larger_foot_is_longer_by_one_factor_and_keeps_its_angles(view, factor):
    points = {name: np.multiply(each, factor) for name, each in POINTS_MM[view].items()}
    larger = values(measure(film_seen(view, points)))
    for code, value in values(measure(film_seen(view))).items():
        grown = value * factor if code.endswith("_mm") else value
        assert larger[code] == pytest.approx(grown, rel=1e-9, abs=1e-9), code


@settings(deadline=None, max_examples=40)
@given(view=st.sampled_from(EVERY_VIEW), factor=st.floats(0.5, 2.0))
def test_another_scale_of_one_picture_moves_every_length_alike_and_no_angle(view, factor):
    film = film_seen(view)
    scale = spacing_scale(ROW_MM * factor, COLUMN_MM * factor, "corrected", "fiducial")
    found = values(measure(replace(film, scale=scale)))
    for code, value in values(measure(film)).items():
        grown = value * factor if code.endswith("_mm") else value
        assert found[code] == pytest.approx(grown, rel=1e-9, abs=1e-9), code


@pytest.mark.parametrize("view", EVERY_VIEW)
def test_a_picture_on_its_side_reads_the_same_with_its_spacing_on_its_side(view):
    film = film_seen(view)
    on_its_side = {name: each[..., ::-1] for name, each in film.landmarks_px.items()}
    turned = replace(
        film,
        landmarks_px=on_its_side,
        scale=spacing_scale(COLUMN_MM, ROW_MM, "corrected", "fiducial"),
    )
    assert values(measure(turned)) == pytest.approx(values(measure(film)), abs=1e-9)


# Source: DICOM PS3.3 section 10.7.1.3: rows come first.
@pytest.mark.parametrize("view", EVERY_VIEW)
def test_row_and_column_exchanged_show_in_every_view(view):
    film = film_seen(view)
    right = values(measure(film))
    swapped = replace(film, scale=spacing_scale(COLUMN_MM, ROW_MM, "corrected", "fiducial"))
    wrong = values(measure(swapped))
    assert wrong.keys() == right.keys()
    lengths = [code for code in right if code.endswith("_mm") and abs(right[code]) > 1.0]
    assert lengths
    for code in lengths:
        assert wrong[code] != pytest.approx(right[code], rel=0.05), code


@pytest.mark.parametrize("view", EVERY_VIEW)
def test_many_feet_at_once_read_as_one_by_one(view):
    rng = np.random.default_rng(8)
    batch = {
        name: each + rng.normal(0.0, 0.4, (3, 2, *each.shape))
        for name, each in in_foot(view).items()
    }
    together = VIEWS[view].readings(batch)
    for place in np.ndindex(3, 2):
        alone = VIEWS[view].readings({name: each[place] for name, each in batch.items()})
        assert alone.keys() == together.keys()
        for code, value in together.items():
            assert value[place] == pytest.approx(float(alone[code]), abs=1e-6), code


# Source: JCGM 101:2008, section 8: the linear law is held against propagated distributions.
@pytest.mark.parametrize(
    ("view", "said"), [("dorsopalmar", {}), ("lateromedial", {"condyles_superimposed": False})]
)
def test_monte_carlo_agrees_with_the_linear_model_within_five_percent(view, said):
    film = replace(film_seen(view), **said)
    placed, found = placement(film), measure(film).readings

    def model(x):
        return VIEWS[view].readings(placed.points(x))

    drawn = monte_carlo(model, placed.x0, placed.u, 10_000, np.random.default_rng(21))
    assert drawn.keys() == found.keys()
    for code, (value, u) in drawn.items():
        assert value == pytest.approx(found[code].value, abs=1e-9)
        assert found[code].u == pytest.approx(u, rel=0.05), code


@pytest.mark.parametrize("view", EVERY_VIEW)
def test_points_go_to_the_foot_with_their_distances_unchanged(view):
    # A frame is a rigid motion: whatever two landmarks are apart, they stay apart.
    points = in_foot(view)
    names = [name for name, each in points.items() if each.ndim == 1]
    for first, second in pairwise(names):
        apart = np.subtract(POINTS_MM[view][first], POINTS_MM[view][second])
        assert np.hypot(*(points[first] - points[second])) == pytest.approx(np.hypot(*apart))
