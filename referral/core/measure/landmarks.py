"""The landmarks of each view, with the sentence that stands beside the field."""

from collections.abc import Mapping
from types import MappingProxyType

LATEROMEDIAL: Mapping[str, str] = MappingProxyType(
    {
        "ground_palmar": "A point on the ground line behind the foot.",
        "ground_dorsal": "A point on the ground line in front of the foot.",
        "bearing_palmar": "Where hoof and shoe meet, at the heel (shod film).",
        "bearing_dorsal": "Where hoof and shoe meet, at the toe (shod film).",
        "p3_tip": "The lowest point of the front edge of the coffin bone.",
        "p3_palmar_process": "The lower edge of the coffin bone at its rear end.",
        "p3_palmar_process_2": "The rear end of the other side, where both are seen.",
        "p3_dorsal_proximal": "The front face of the coffin bone, just below the extensor process.",
        "p3_dorsal_distal": "The front face of the coffin bone, low, above any change at the tip.",
        "extensor_process": "The highest point of the extensor process.",
        "palmar_cortex_proximal": "Where the coffin bone's lower face meets the navicular bone.",
        "hairline": "Where hair and horn meet at the front: the top of the marker.",
        "wall_proximal": "The outer front wall, just below the coronet.",
        "wall_distal": "The outer front wall, at the end of its upper straight part.",
        "toe": "The foremost point of the hoof on the ground.",
        "breakover": "The foremost point that touches the ground.",
        "heel": "The rearmost point that touches the ground.",
        "heel_wall_proximal": "The heel wall, high.",
        "heel_wall_distal": "The heel wall, low.",
        "p2_condyle": "Three points or more round the lower joint face of the short pastern bone.",
        "p2_dorsal_proximal": "The front face of the short pastern bone, high.",
        "p2_dorsal_distal": "The front face of the short pastern bone, low.",
        "sole_under_tip": "The sole's ground surface straight below the bone's tip.",
        "sole_under_process": "The sole's ground surface straight below the rear of the bone.",
        "horn_inner_mid": "The inner edge of the dense horn, half way down the bone's front face.",
    }
)

DORSOPALMAR: Mapping[str, str] = MappingProxyType(
    {
        "ground_medial": "A point on the ground line at the inner side.",
        "ground_lateral": "A point on the ground line at the outer side.",
        "p3_margin_medial": "The lowest point of the coffin bone's edge, inner side.",
        "p3_margin_lateral": "The lowest point of the coffin bone's edge, outer side.",
        "dip_p2_medial": "The inner edge of the short pastern bone's joint face.",
        "dip_p2_lateral": "The outer edge of the short pastern bone's joint face.",
        "dip_p3_medial": "The inner edge of the coffin bone's joint face.",
        "dip_p3_lateral": "The outer edge of the coffin bone's joint face.",
        "wall_medial_proximal": "The inner wall, high.",
        "wall_medial_distal": "The inner wall, at the ground.",
        "wall_lateral_proximal": "The outer wall, high.",
        "wall_lateral_distal": "The outer wall, at the ground.",
        "p3_wall_medial": "The inner side face of the coffin bone, half way down.",
        "p3_wall_lateral": "The outer side face of the coffin bone, half way down.",
        "coronet_medial": "The coronet at the inner side.",
        "coronet_lateral": "The coronet at the outer side.",
        "sole_medial": "The sole's ground surface below the bone's inner edge.",
        "sole_lateral": "The sole's ground surface below the bone's outer edge.",
    }
)

_SCALE_ENDS = {
    "scale_a": "One end of a known length that lies in the plane to be measured.",
    "scale_b": "The other end of that known length.",
}

SOLE_PHOTO: Mapping[str, str] = MappingProxyType(
    {
        "toe": "The foremost point of the toe, in line with the frog.",
        "widest_medial": "The outermost point of the inner side, where the foot is widest.",
        "widest_lateral": "The outermost point of the outer side, where the foot is widest.",
        "heel_medial": "The rearmost bearing point of the inner heel; the shoe's if shod.",
        "heel_lateral": "The rearmost bearing point of the outer heel; the shoe's if shod.",
        "frog_apex": "The foremost point of the frog.",
        "frog_widest_medial": "The inner edge of the frog, at its widest part.",
        "frog_widest_lateral": "The outer edge of the frog, at its widest part.",
        "frog_widest_level": "The middle of the frog, at the level of its widest part.",
        **_SCALE_ENDS,
    }
)

SIDE_PHOTO: Mapping[str, str] = MappingProxyType(
    {
        "toe": "The foremost point of the hoof or shoe on the ground.",
        "coronet_dorsal": "Where hair and horn meet at the front.",
        "heel": "The rearmost point that touches the ground; the shoe's heel if shod.",
        "heel_wall_proximal": "The heel wall, high.",
        "heel_wall_distal": "The heel wall, low.",
        "wall_proximal": "The outer front wall, just below the coronet.",
        "wall_distal": "The outer front wall, at the end of its upper straight part.",
        "fetlock_centre": "The middle of the fetlock joint, as the skin shows it.",
        "pastern_proximal": "The front face of the pastern, just below the fetlock.",
        "pastern_distal": "The front face of the pastern, just above the coronet.",
        **_SCALE_ENDS,
    }
)

FRONT_PHOTO: Mapping[str, str] = MappingProxyType(
    {
        "ground_medial": "A point on the ground line at the inner side.",
        "ground_lateral": "A point on the ground line at the outer side.",
        "coronet_medial": "Where hair and horn meet at the inner side.",
        "coronet_lateral": "Where hair and horn meet at the outer side.",
        "wall_medial_proximal": "The outline of the inner wall, high.",
        "wall_medial_distal": "The outline of the inner wall, at the ground.",
        "wall_lateral_proximal": "The outline of the outer wall, high.",
        "wall_lateral_distal": "The outline of the outer wall, at the ground.",
        **_SCALE_ENDS,
    }
)

LANDMARKS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "lateromedial": LATEROMEDIAL,
        "dorsopalmar": DORSOPALMAR,
        "sole_photo": SOLE_PHOTO,
        "side_photo": SIDE_PHOTO,
        "front_photo": FRONT_PHOTO,
    }
)
"""View -> landmark name -> what to place it on."""

SEVERAL_POINTS = frozenset({"p2_condyle"})
"""Landmarks that are a row of points, not one."""

HARD_TO_PLACE = frozenset({"hairline", "extensor_process"})
"""Landmarks whose placing varies more: a marker moved by 2-3 mm already matters."""

PLACED_BY_EYE_MM: Mapping[str, float] = MappingProxyType(
    {
        "coronet_dorsal": 1.5,
        "widest_medial": 2.0,
        "widest_lateral": 2.0,
        "frog_widest_level": 2.0,
        "fetlock_centre": 3.0,
    }
)
"""Landmarks of a photo that the eye finds less surely, with their SD in mm.

An outline runs along the foot where it is widest, and skin hides the fetlock joint (common
practice, no source).
"""
