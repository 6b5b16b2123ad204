"""Bands tile without gap or overlap."""

import pytest

from referral.core.rules.bands import Band, edges, tiling_faults


@pytest.mark.parametrize(
    ("bands", "faults"),
    [
        ((Band("within", None, 10.0), Band("caution", 10.0, None)), []),
        (
            (Band("within", None, 10.0, high_included=True), Band("caution", 11.0, None)),
            ["there is a gap between 10 and 11"],
        ),
        (
            (Band("within", None, 12.0), Band("caution", 10.0, None)),
            ["two bands overlap between 10 and 12"],
        ),
        (
            (Band("within", None, 10.0, high_included=True), Band("caution", 10.0, None)),
            ["10 belongs to two bands"],
        ),
        (
            (Band("within", None, 10.0), Band("caution", 10.0, None, low_included=False)),
            ["10 belongs to no band"],
        ),
        (
            (Band("within", 0.0, 10.0), Band("caution", 10.0, 20.0)),
            ["the first band must be open below and the last one open above"],
        ),
        (
            (Band("within", None, None), Band("caution", 10.0, None)),
            ["only the first band may be open below and only the last one above"],
        ),
        (
            (Band("note", None, 10.0), Band("caution", 10.0, None)),
            ["exactly one band must be within"],
        ),
    ],
)
def test_bands_tile_or_are_refused(bands, faults):
    assert tiling_faults(bands) == faults


def test_bands_on_both_sides_become_bounds():
    bands = (
        Band("breach", None, 0.0, high_included=True),
        Band("caution", 0.0, 2.0, low_included=False),
        Band("within", 2.0, 10.0, high_included=True),
        Band("breach", 10.0, None, low_included=False),
    )
    assert tiling_faults(bands) == []
    assert edges(bands) == [
        ("more_than", 0.0, "breach"),
        ("at_least", 2.0, "caution"),
        ("at_most", 10.0, "breach"),
    ]
    strict = (Band("within", None, 3.0), Band("note", 3.0, None))
    assert edges(strict) == [("less_than", 3.0, "note")]


def test_whole_numbers_that_leave_a_gap_between_them_are_refused():
    tens = Band("within", None, 10.0), Band("note", 10.0, 20.0), Band("caution", 20.0, None)
    assert tiling_faults(tens) == []
    closed = (
        Band("within", None, 10.0, high_included=True),
        Band("note", 11.0, 20.0, high_included=True),
        Band("caution", 21.0, None),
    )
    assert tiling_faults(closed) == [
        "there is a gap between 10 and 11",
        "there is a gap between 20 and 21",
    ]
