"""What a view is: its readings, its lines, its frame."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.geometry.points import Floats
from referral.core.measure import dorsopalmar, lateromedial
from referral.core.measure.placement import Axes


@dataclass(frozen=True, slots=True)
class View:
    """One view. ``needs`` says what each reading needs beside the ground.

    ``ground`` runs from the rear (medial) to the front (lateral) point; the first landmark of
    ``above`` that is there says which way is up. Without ground points ``stand_in`` is the
    frame, and only the readings in ``ground_free`` are kept. ``ordered`` are lines whose first
    point is the upper one. ``rear_to_front`` are pairs whose first has the smaller x, and
    ``lowest_bone`` is what can never lie on the ground.
    """

    readings: Callable[[Mapping[str, Floats]], dict[str, Floats]]
    needs: Mapping[str, tuple[str, ...]]
    lines: tuple[tuple[str, str], ...]
    ground: tuple[str, str]
    above: tuple[str, ...]
    stand_in: Axes | None
    ordered: tuple[tuple[str, str], ...]
    rear_to_front: tuple[tuple[str, str], ...]
    ground_free: frozenset[str]
    lowest_bone: tuple[str, ...]


LATEROMEDIAL = View(
    readings=lateromedial.lateromedial_readings,
    needs=lateromedial.NEEDS,
    lines=lateromedial.LINES,
    ground=lateromedial.GROUND,
    above=(
        "p3_tip",
        "p3_dorsal_proximal",
        "wall_proximal",
        "p2_dorsal_proximal",
        "hairline",
        "extensor_process",
        "heel_wall_proximal",
        "p3_palmar_process",
    ),
    stand_in=Axes("p3_palmar_process", "p3_tip", "p3_dorsal_proximal"),
    ordered=(
        lateromedial.P3_LINE,
        lateromedial.WALL_LINE,
        lateromedial.HEEL_LINE,
        lateromedial.P2_LINE,
    ),
    rear_to_front=(
        ("p3_palmar_process", "p3_tip"),
        ("p3_palmar_process_2", "p3_tip"),
        ("heel", "toe"),
    ),
    ground_free=frozenset(
        {
            "toe_heel_difference_deg",
            "capsular_rotation_deg",
            "phalangeal_rotation_deg",
            "bone_angle_deg",
            "wall_thickness_proximal_mm",
            "wall_thickness_mid_mm",
            "wall_thickness_distal_mm",
            "wall_to_cortex_ratio",
            "lamellar_lucent_zone_mm",
            "palmar_cortex_length_mm",
        }
    ),
    lowest_bone=("p3_tip",),
)

DORSOPALMAR = View(
    readings=dorsopalmar.dorsopalmar_readings,
    needs=dorsopalmar.NEEDS,
    lines=dorsopalmar.LINES,
    ground=dorsopalmar.GROUND,
    above=(
        *dorsopalmar.MARGINS,
        *dorsopalmar.JOINT_LINE,
        "coronet_medial",
        "coronet_lateral",
        "wall_medial_proximal",
        "wall_lateral_proximal",
    ),
    stand_in=None,
    ordered=(),
    rear_to_front=(dorsopalmar.MARGINS, dorsopalmar.JOINT_LINE),
    ground_free=frozenset(),
    lowest_bone=dorsopalmar.MARGINS,
)

VIEWS: Mapping[str, View] = MappingProxyType(
    {"lateromedial": LATEROMEDIAL, "dorsopalmar": DORSOPALMAR}
)
"""The views that can be measured, by name."""
