"""A marker set on a film, beside what the film's own file says of its pixels."""

import io
from datetime import timedelta

import pydicom
import pytest

from referral.cases.queries import case_for
from referral.core.errors import BadScale
from referral.films.phantom import Exposure, Foot, draw_phantom
from referral.films.queries import file_tags, film_of
from referral.films.scales import beside_the_files, scale_from_given
from referral.films.schemas import MeasureForm
from referral.films.service import AddFilm, MeasureFilm, TakenHow, add_film, measure_film
from referral.films.uploads import scale_given
from referral.storage.blobs import BlobStore
from referral.storage.canonical import sha256_hex
from referral.storage.decode.film import read_apart
from tests.factories import NOW, a_case, a_cast

EXPOSURE = Exposure(row_mm=0.65, column_mm=0.7, size_px=(340, 280), noise=0.0)
PHANTOM = draw_phantom(Foot(), EXPOSURE)
AT_THE_FOOT = (0.65 * 620 / 700, 0.7 * 620 / 700)
"""Spacing in the foot's middle: plate spacing over M = SID / (SID - OID)."""


MARKER = {
    "kind": "marker",
    "length_mm": PHANTOM.marker_length_mm,
    "ends_px": PHANTOM.marker_ends_px,
    "plane": "sagittal",
}


def film_saying(attributes):
    """Return the film, as a file that says more of its pixels than the plate's spacing."""
    dataset = pydicom.dcmread(io.BytesIO(PHANTOM.dicom))
    for name, value in attributes.items():
        setattr(dataset, name, value)
    out = io.BytesIO()
    dataset.save_as(out)
    taken = TakenHow(
        "LF", "lateromedial", NOW.date(), "before", "no", True, True, True, True, days_since_trim=2
    )
    data = out.getvalue()
    return AddFilm(sha256_hex(data), "film.dcm", read_apart(data, "film.dcm"), taken, NOW.date())


@pytest.fixture
def measured(database, tmp_path):
    """Add a film, set the marker on it, and measure it: its scale before and after, its readings"""

    def run(**attributes):
        with database.transaction() as session:
            cast = a_cast(session)
            access = case_for(session, cast.vet.id, a_case(session, cast))
            blobs = BlobStore(tmp_path)
            film_id = add_film(session, access, blobs, film_saying(attributes), NOW)
            before = film_of(session, access.case_id, film_id).scale
            placed = MeasureFilm(film_id, PHANTOM.landmarks_px, MARKER, NOW.date())
            found = measure_film(session, access, placed, NOW + timedelta(minutes=3))
            film = film_of(session, access.case_id, film_id)
            assert_marker_is_in_force(film, file_tags(session, film_id))
            return before, film.scale, found

    return run


def assert_marker_is_in_force(film, tags):
    """The form sent back as it was sets no scale anew; another length does."""
    again = MeasureForm().load(
        {
            "marker_ends": MARKER["ends_px"],
            "marker_length_mm": MARKER["length_mm"],
            "marker_plane": "sagittal",
        }
    )
    assert scale_given(film, tags, again) is None
    longer = scale_given(film, tags, again | {"marker_length_mm": 61.0})
    assert longer is not None
    assert longer["length_mm"] == 61.0


def states(found):
    return {each.scale_state for each in found.readings.values()}


def test_a_film_that_says_only_the_plates_spacing(measured):
    before, scale, found = measured()
    assert (before.state, scale.state, scale.warnings) == ("none", "marker", ())
    assert (scale.row_mm, scale.column_mm) == pytest.approx(AT_THE_FOOT)
    assert [each.origin for each in scale.sources] == ["marker on the film", "detector spacing"]
    for code, value in PHANTOM.truth.items():
        assert found.readings[code].value == pytest.approx(value, abs=1e-6), code


def test_a_marker_outranks_an_estimate_without_a_word_when_they_agree(measured):
    factor = f"{700 / 620:.6f}"
    before, scale, found = measured(EstimatedRadiographicMagnificationFactor=factor)
    assert (before.state, scale.state, found.warnings) == ("estimated", "marker", ())
    assert states(found) == {"marker"}
    assert len(scale.sources) == 3


def test_a_marker_far_from_the_estimate_still_counts_and_warns(measured):
    before, scale, found = measured(EstimatedRadiographicMagnificationFactor="1.3")
    assert (before.state, scale.state, scale.conflict) == ("estimated", "marker", False)
    assert scale.row_mm == pytest.approx(AT_THE_FOOT[0])
    # 1.3 / 1.1290 = 1.151
    assert [each.code for each in found.warnings] == ["scale"]
    assert "15% apart" in found.warnings[0].text
    assert states(found) == {"marker"}


def test_a_marker_against_a_corrected_spacing_is_a_conflict(measured):
    before, scale, found = measured(
        PixelSpacing=["0.50", "0.5385"], PixelSpacingCalibrationType="FIDUCIAL"
    )
    assert (before.state, before.row_mm) == ("corrected", 0.5)
    assert (scale.state, scale.conflict, scale.row_mm) == ("none", True, None)
    assert states(found) == {"none"}
    assert "dip_height_mm" not in found.readings
    angle = found.readings["palmar_angle_deg"]
    assert angle.value == pytest.approx(PHANTOM.truth["palmar_angle_deg"], abs=0.05)
    assert "neither is used" in found.warnings[0].text


def test_a_marker_that_agrees_with_a_corrected_spacing_counts(measured):
    row, column = (f"{each:.5f}" for each in AT_THE_FOOT)
    _before, scale, found = measured(PixelSpacing=[row, column])
    assert (scale.state, scale.conflict) == ("marker", False)
    assert states(found) == {"marker"}


def test_what_the_file_says_is_not_lost_when_the_marker_is_set_again():
    tags = {"imager_pixel_spacing": r"0.14\0.15", "magnification": "1.2"}
    first = beside_the_files(
        {"kind": "marker", "ends_px": [[0, 0], [0, 500]], "length_mm": 60.0}, tags
    )
    again = beside_the_files({**first, "length_mm": 70.0}, tags)
    assert again["beside"] == tags
    assert scale_from_given(again).warnings != scale_from_given(first).warnings
    assert scale_from_given(first).aspect == pytest.approx((0.12, 0.12 * 15 / 14))


def test_a_picture_has_nothing_beside_its_marker():
    marker = {"kind": "marker", "ends_px": [[0, 0], [0, 500]], "length_mm": 60.0}
    assert beside_the_files(marker, None) == marker
    assert len(scale_from_given(marker).sources) == 1


@pytest.mark.parametrize(
    ("said", "state", "spacing"),
    [
        ({"kind": "none"}, "none", (None, None)),
        ({"kind": "none", "pixel_aspect": [4, 3]}, "none", (None, None)),
        (
            {
                "kind": "spacing",
                "row_mm": "0.12",
                "column_mm": 0.13,
                "state": "corrected",
                "calibration": "fiducial",
            },
            "corrected",
            (0.12, 0.13),
        ),
        (
            {"kind": "detector", "row_mm": 0.14, "column_mm": 0.28, "sid_mm": 700, "oid_mm": 80},
            "estimated",
            (0.124, 0.248),
        ),
        (
            {"kind": "marker", "ends_px": [[0, 0], [400, 0]], "length_mm": 60, "plane": "unknown"},
            "estimated",
            (0.15, 0.15),
        ),
        (
            {"kind": "marker", "ends_px": [[0, 0], [400, 0]], "length_mm": 60}
            | {"pixel_aspect": [4, 3]},
            "marker",
            (0.2, 0.15),
        ),
    ],
)
def test_every_kind_of_scale_that_may_be_given(said, state, spacing):
    scale = scale_from_given(said)
    assert (scale.state, (scale.row_mm, scale.column_mm)) == (state, pytest.approx(spacing))
    assert scale.aspect[0] / scale.aspect[1] == pytest.approx(
        spacing[0] / spacing[1] if spacing[0] else scale_aspect(said)
    )


def scale_aspect(said):
    down, across = said.get("pixel_aspect", (1, 1))
    return down / across


def test_a_scale_of_no_known_kind_is_refused():
    with pytest.raises(BadScale, match="no scale of kind 'guess'") as caught:
        scale_from_given({"kind": "guess"})
    assert caught.value.at == "film.scale.kind"
