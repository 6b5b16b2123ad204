"""The registry names every reading there is, and only those."""

import pytest

from referral.core.errors import UnknownMeasure
from referral.core.measure.landmarks import HARD_TO_PLACE, LANDMARKS, SEVERAL_POINTS
from referral.core.measure.needs import NO_LANDMARK
from referral.core.measure.registry import MEASURES, measure_of
from referral.core.measure.views import VIEWS
from referral.core.units import SCALE_FREE, UNITS, unit_of


def test_each_reading_of_each_view_is_listed_once_with_its_unit():
    listed = {code for view in VIEWS.values() for code in view.needs}
    assert MEASURES.keys() == listed
    for code, measure in MEASURES.items():
        assert measure.code == code
        assert measure.unit == unit_of(code)
        assert measure.unit in UNITS
        assert measure.name
        assert measure.source
        assert measure.sentence.endswith(".")


def test_readings_need_only_landmarks_that_their_view_has():
    for measure in MEASURES.values():
        names = {name for need in measure.needs for name in need.split("|")}
        assert names - {NO_LANDMARK} <= LANDMARKS[measure.view].keys()


def test_views_and_landmarks_agree():
    assert VIEWS.keys() == LANDMARKS.keys()
    for name, view in VIEWS.items():
        known = LANDMARKS[name].keys()
        pairs = (*view.lines, *view.ordered, *view.rear_to_front, view.ground, view.above)
        assert {landmark for pair in pairs for landmark in pair} <= known
    assert LANDMARKS["lateromedial"].keys() >= HARD_TO_PLACE | SEVERAL_POINTS
    for sentences in LANDMARKS.values():
        assert all(sentence.endswith(".") for sentence in sentences.values())


def test_ground_points_are_listed_where_they_are_needed():
    assert MEASURES["palmar_angle_deg"].needs[-2:] == ("ground_palmar", "ground_dorsal")
    assert "ground_palmar" not in MEASURES["capsular_rotation_deg"].needs


def test_an_unknown_code_is_refused_where_it_stands():
    with pytest.raises(UnknownMeasure, match="hoof_happiness") as caught:
        measure_of("hoof_happiness", at="limits[0].measure")
    assert caught.value.at == "limits[0].measure"


def test_only_lengths_depend_on_the_scale():
    assert set(UNITS) - SCALE_FREE == {"mm"}
    assert unit_of("hoof_happiness") is None
