"""What the readings of photos are called, and what each of them is.

Code -> name, sign, source, sentence. Photos are external guides for when there is no film;
their codes are never those of a film, so that no series mixes the two.
"""

from collections.abc import Mapping
from types import MappingProxyType

OWN = "common practice, no source"
TURNER = "Turner (cited from a review; from memory)"

SOLE_PHOTO: Mapping[str, tuple[str, str, str, str]] = MappingProxyType(
    {
        "foot_length_mm": (
            "Foot length, photo",
            "",
            OWN,
            "Along the middle line, from midway between the heels to the toe.",
        ),
        "foot_width_mm": (
            "Foot width, photo",
            "",
            OWN,
            "Across the middle line, between the two widest points.",
        ),
        "behind_widest_percent": (
            "Share behind the widest part, photo",
            "",
            "Adams & Stashak, 7th ed., p 1092",
            "Heels to the level of the widest part, over the foot's length; needs no scale.",
        ),
        "heel_to_widest_mm": (
            "Heels to widest part, photo",
            "",
            OWN,
            "Along the middle line, from midway between the heels to the level of the widest part.",
        ),
        **{
            f"half_width_{side}_mm": (
                f"Half width, {side}, photo",
                "",
                OWN,
                f"Square to the middle line, from it to the widest point of the {side} side.",
            )
            for side in ("medial", "lateral")
        },
        **{
            f"heel_{side}_length_mm": (
                f"Heel length, {side}, photo",
                "+ heel behind the widest part",
                OWN,
                f"Along the middle line, from the level of the widest part to the {side} heel.",
            )
            for side in ("medial", "lateral")
        },
        "heel_to_frog_widest_mm": (
            "Heel to the frog's widest part, photo",
            "+ heel of foot or shoe behind",
            OWN,
            "From midway between the heels, the shoe's if shod, to the level of the frog's widest.",
        ),
        "frog_width_length_ratio": (
            "Frog width to length, photo",
            "",
            TURNER,
            "Frog's greatest width over its length from the apex to that level; needs no scale.",
        ),
        "centre_agreement_mm": (
            "Widest part to joint centre",
            "+ widest part in front of the joint's centre",
            OWN,
            "Heels to the widest part on the sole photo, less the heel arm on the film.",
        ),
    }
)

SIDE_PHOTO: Mapping[str, tuple[str, str, str, str]] = MappingProxyType(
    {
        "photo_wall_angle_deg": (
            "Dorsal wall angle, photo",
            "",
            OWN,
            "Upper straight part of the front wall, against the ground.",
        ),
        "photo_heel_angle_deg": (
            "Heel angle, photo",
            "",
            OWN,
            "Heel wall, against the ground.",
        ),
        "photo_toe_heel_difference_deg": (
            "Toe-heel difference, photo",
            "+ front wall steeper than the heel",
            TURNER,
            "Dorsal wall angle less heel angle, both from the photo.",
        ),
        "pastern_angle_deg": (
            "Pastern angle, photo",
            "",
            OWN,
            "Front face of the pastern, against the ground.",
        ),
        "hoof_pastern_difference_deg": (
            "Hoof to pastern, photo",
            "+ broken forward",
            OWN,
            "Dorsal wall angle less pastern angle, both from the photo.",
        ),
        "photo_toe_length_mm": (
            "Toe length, photo",
            "",
            OWN,
            "Straight from the coronet at the front to the toe.",
        ),
        "plumb_to_heel_mm": (
            "Plumb line to heel, photo",
            "+ heel behind the plumb line",
            "Adams & Stashak, 7th ed., p 1092",
            "Along the ground, from below the fetlock's centre to the heel; cannon vertical.",
        ),
    }
)

FRONT_PHOTO: Mapping[str, tuple[str, str, str, str]] = MappingProxyType(
    {
        "photo_coronet_tilt_deg": (
            "Coronet tilt, photo",
            "+ lateral side higher",
            OWN,
            "Line through the coronet at both sides, against the ground.",
        ),
        **{
            code: text
            for side in ("medial", "lateral")
            for code, text in (
                (
                    f"photo_coronet_height_{side}_mm",
                    (
                        f"Coronet height, {side}, photo",
                        "",
                        OWN,
                        "Height of the coronet over the ground line.",
                    ),
                ),
                (
                    f"photo_wall_angle_{side}_deg",
                    (
                        f"Wall angle, {side}, photo",
                        "below 90 flares outward",
                        OWN,
                        "Outline of the wall against the ground, measured through the horn.",
                    ),
                ),
            )
        },
    }
)
