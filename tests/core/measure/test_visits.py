"""What two films of one foot say of each other."""

import pytest

from referral.core.measure.readings import Measured, Reading
from referral.core.measure.visits import visit_caveats


def visit(bone_angle=45.0, cortex=66.0):
    return Measured(
        {
            "bone_angle_deg": Reading("bone_angle_deg", bone_angle, 0.9, "deg", "marker", "film"),
            "palmar_cortex_length_mm": Reading(
                "palmar_cortex_length_mm", cortex, 1.0, "mm", "marker", "film"
            ),
        }
    )


@pytest.mark.parametrize(
    ("now", "wanted"),
    [
        (visit(), []),
        (visit(bone_angle=47.0), []),
        (visit(bone_angle=47.01), ["bone_angle_changed"]),
        (visit(bone_angle=42.9), ["bone_angle_changed"]),
        (visit(cortex=66.0 * 1.049), []),
        (visit(cortex=66.0 * 1.051), ["cortex_changed"]),
        (visit(cortex=66.0 * 0.949), ["cortex_changed"]),
        (visit(bone_angle=50.0, cortex=80.0), ["bone_angle_changed", "cortex_changed"]),
        (Measured(), []),
    ],
)
def test_what_one_bone_cannot_do_is_warned_of(now, wanted):
    assert [caveat.code for caveat in visit_caveats(visit(), now)] == wanted
