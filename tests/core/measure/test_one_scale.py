"""One scale for everything: a length, a height, a ratio and a verdict of one film agree."""

import pytest

from referral.core.geometry.scale import no_scale, spacing_scale
from referral.core.measure.film import Film, measure
from referral.core.rules.judging import judge
from tests.core.rules.feet import DAY, book, foot, threshold, tier

MM_A_PX, LONG_PX = 0.190840, 240.0
PX = {
    "ground_palmar": (100.0, 900.0),
    "ground_dorsal": (900.0, 900.0),
    "p3_tip": (500.0, 900.0 - LONG_PX),
    "palmar_cortex_proximal": (500.0, 900.0 - 2 * LONG_PX),
    "sole_under_tip": (500.0, 900.0),
    "toe": (500.0 + LONG_PX, 900.0),
}
"""A line of 240 pixels: as a height, a length, a depth and along the ground."""
CODES = (
    "tip_to_ground_mm",
    "palmar_cortex_length_mm",
    "sole_depth_tip_mm",
    "toe_distance_mm",
)


def measured(scale):
    return measure(Film("lateromedial", PX, None, scale, (1000, 1000), 0.0, sd_given=True))


@pytest.mark.parametrize("code", CODES)
def test_a_line_is_as_long_as_a_height_a_length_a_depth_and_along_the_ground(code):
    # Computed: 240 x 0.190840 = 45.802 mm.
    found = measured(spacing_scale(MM_A_PX, MM_A_PX, "corrected", "fiducial"))
    assert found.readings[code].value == pytest.approx(45.802, abs=5e-4)
    assert found.readings[code].scale_state == "corrected"


@pytest.mark.parametrize(("limit", "verdict"), [(45.80, "WITHIN"), (45.81, "OUTSIDE")])
@pytest.mark.parametrize("code", CODES)
def test_a_verdict_rests_on_the_very_number_that_is_shown(code, limit, verdict):
    found = measured(spacing_scale(MM_A_PX, MM_A_PX, "corrected", "fiducial"))
    rule = threshold(tier("breach", at_least=limit), measure=code, stage="now")
    (finding,) = judge(foot(stages={"now": found}), book(rule), (), DAY).findings
    assert finding.value == found.readings[code].value
    assert finding.verdict == verdict


def test_an_estimated_scale_shows_the_number_and_judges_nothing():
    found = measured(spacing_scale(MM_A_PX, MM_A_PX, "estimated"))
    assert found.readings["tip_to_ground_mm"].value == pytest.approx(45.802, abs=5e-4)
    assert found.readings["tip_to_ground_mm"].scale_state == "estimated"
    assert "tip_to_ground_mm" in measured(no_scale()).absent
