"""What a view is: its readings, its lines, its frame."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from referral.core.geometry.points import Floats
from referral.core.measure import dorsopalmar, front_photo, lateromedial, side_photo, sole_photo
from referral.core.measure.landmarks import HARD_TO_PLACE, PLACED_BY_EYE_MM
from referral.core.measure.placement import Axes

HARD_LANDMARK_SD_MM = 1.5
TIP_TO_PROCESS_MM = 72.0
HEEL_TO_TOE_MM = 130.0
"""Sizes of an adult forefoot, used only for the u of angles on a picture without scale."""

NO_SDS: Mapping[str, float] = MappingProxyType({})
NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class View:
    """One view. ``needs`` says what each reading needs beside the ground.

    ``ground`` runs from the rear (medial) to the front (lateral) point; the first landmark of
    ``above`` that is there says which way is up. Without ground points ``stand_in`` is the
    frame, and only the readings in ``ground_free`` are kept. ``ordered`` are lines whose first
    point is the upper one. ``rear_to_front`` are pairs whose first has the smaller x, and
    ``lowest_bone`` is what can never lie on the ground.

    ``middle`` takes the place of ``ground`` where the foot is seen from below: x runs from
    midway between the first two to the third, and y to the lateral side; of each pair in
    ``across`` the second is the lateral one. ``beyond`` are readings that this picture alone
    never gives, with the reason. ``known_size`` are two landmarks and about how far apart they
    are, in mm. ``sds_mm`` are the SDs of landmarks that are harder to place.
    """

    readings: Callable[[Mapping[str, Floats]], dict[str, Floats]]
    needs: Mapping[str, tuple[str, ...]]
    lines: tuple[tuple[str, str], ...]
    ground: tuple[str, ...]
    above: tuple[str, ...]
    stand_in: Axes | None
    ordered: tuple[tuple[str, str], ...]
    rear_to_front: tuple[tuple[str, str], ...]
    ground_free: frozenset[str]
    lowest_bone: tuple[str, ...]
    middle: tuple[str, ...] = ()
    across: tuple[tuple[str, str], ...] = ()
    beyond: Mapping[str, str] = field(default_factory=lambda: NOTHING)
    known_size: tuple[str, str, float] | None = None
    sds_mm: Mapping[str, float] = field(default_factory=lambda: NO_SDS)
    is_photo: bool = False

    @property
    def frame(self) -> tuple[str, ...]:
        """The landmarks that the frame is built from: the ground's, or the middle line's."""
        return self.middle or self.ground


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
    known_size=("p3_palmar_process", "p3_tip", TIP_TO_PROCESS_MM),
    sds_mm=MappingProxyType(dict.fromkeys(HARD_TO_PLACE, HARD_LANDMARK_SD_MM)),
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

SOLE_PHOTO = View(
    readings=sole_photo.sole_photo_readings,
    needs=sole_photo.NEEDS,
    lines=sole_photo.LINES,
    ground=(),
    above=("widest_lateral", "frog_widest_lateral", "heel_lateral"),
    stand_in=Axes("frog_widest_level", "frog_apex", "frog_widest_lateral"),
    ordered=(),
    rear_to_front=(
        ("heel_medial", "toe"),
        ("heel_lateral", "toe"),
        sole_photo.FROG_LENGTH,
        ("frog_apex", "toe"),
    ),
    ground_free=frozenset({"frog_width_length_ratio"}),
    lowest_bone=(),
    middle=sole_photo.MIDDLE,
    across=(sole_photo.HEELS, sole_photo.WIDEST, sole_photo.FROG_WIDEST),
    beyond=sole_photo.BEYOND,
    known_size=("heel_lateral", "toe", HEEL_TO_TOE_MM),
    sds_mm=PLACED_BY_EYE_MM,
    is_photo=True,
)

SIDE_PHOTO = View(
    readings=side_photo.side_photo_readings,
    needs=side_photo.NEEDS,
    lines=side_photo.LINES,
    ground=side_photo.GROUND,
    above=(
        "coronet_dorsal",
        "wall_proximal",
        "pastern_proximal",
        "fetlock_centre",
        "heel_wall_proximal",
    ),
    stand_in=None,
    ordered=(side_photo.WALL_LINE, side_photo.HEEL_LINE, side_photo.PASTERN_LINE),
    rear_to_front=(
        ("heel", "toe"),
        ("heel_wall_proximal", "wall_proximal"),
        ("heel", "coronet_dorsal"),
    ),
    ground_free=frozenset(),
    lowest_bone=("coronet_dorsal", "fetlock_centre"),
    known_size=("heel", "toe", HEEL_TO_TOE_MM),
    sds_mm=PLACED_BY_EYE_MM,
    is_photo=True,
)

FRONT_PHOTO = View(
    readings=front_photo.front_photo_readings,
    needs=front_photo.NEEDS,
    lines=front_photo.LINES,
    ground=dorsopalmar.GROUND,
    above=(*front_photo.CORONETS, "wall_medial_proximal", "wall_lateral_proximal"),
    stand_in=None,
    ordered=(),
    rear_to_front=(front_photo.CORONETS, ("wall_medial_distal", "wall_lateral_distal")),
    ground_free=frozenset(),
    lowest_bone=front_photo.CORONETS,
    is_photo=True,
)

VIEWS: Mapping[str, View] = MappingProxyType(
    {
        "lateromedial": LATEROMEDIAL,
        "dorsopalmar": DORSOPALMAR,
        "sole_photo": SOLE_PHOTO,
        "side_photo": SIDE_PHOTO,
        "front_photo": FRONT_PHOTO,
    }
)
"""The views that can be measured, by name."""
