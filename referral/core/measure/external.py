"""External guides: what a photo says where there is no film, and how far it is from one."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.measure.readings import Measured, Reading
from referral.core.measure.sole_photo import BEYOND
from referral.core.units import unit_of

GUIDES: Mapping[str, str] = MappingProxyType(
    {
        "dorsal_wall_angle_deg": "photo_wall_angle_deg",
        "heel_angle_deg": "photo_heel_angle_deg",
        "toe_heel_difference_deg": "photo_toe_heel_difference_deg",
        "p2_angle_deg": "pastern_angle_deg",
        "phalangeal_rotation_deg": "hoof_pastern_difference_deg",
        "heel_arm_mm": "heel_to_widest_mm",
        "behind_centre_percent": "behind_widest_percent",
        "bearing_length_mm": "foot_length_mm",
        "coronet_height_medial_mm": "photo_coronet_height_medial_mm",
        "coronet_height_lateral_mm": "photo_coronet_height_lateral_mm",
        "wall_angle_medial_deg": "photo_wall_angle_medial_deg",
        "wall_angle_lateral_deg": "photo_wall_angle_lateral_deg",
    }
)
"""Reading of a film -> the reading of a photo that is its guide from outside.

The widest part guides to the coffin joint's centre (Adams & Stashak, 7th ed., p 1092); the
rest is common practice, no source.
"""

AGREEMENT = "centre_agreement_mm"
HEEL_ARM = "heel_arm_mm"
HEEL_TO_WIDEST = "heel_to_widest_mm"
NO_LATEROMEDIAL = BEYOND[AGREEMENT]
NO_SOLE = "needs a sole photo with a known length on it"


@dataclass(frozen=True, slots=True)
class Guide:
    """A photo's reading, and the code of the film's reading that it guides to."""

    stands_for: str
    reading: Reading


def external_guides(film: Measured, photos: Sequence[Measured]) -> tuple[Guide, ...]:
    """Return what photos say of the readings that no film gives.

    Parameters
    ----------
    film : Measured
        What films of the foot gave; empty where there is none.
    photos : sequence of Measured
        What its photos gave; the first one that has a reading is taken.

    Returns
    -------
    tuple of Guide
        In the order of ``GUIDES``. Each keeps its own code, unit, sign and basis ``photo``:
        a guide is shown beside a film's reading and never stands in its series.

    Examples
    --------
    >>> angle = Reading("photo_wall_angle_deg", 49.0, 0.9, "deg", "none", "photo")
    >>> guides = external_guides(Measured(), [Measured({angle.code: angle})])
    >>> [(guide.stands_for, guide.reading.value) for guide in guides]
    [('dorsal_wall_angle_deg', 49.0)]
    """
    found = []
    for stands_for, code in GUIDES.items():
        seen = [photo.readings[code] for photo in photos if code in photo.readings]
        if seen and stands_for not in film.readings:
            found.append(Guide(stands_for, seen[0]))
    return tuple(found)


def centre_agreement(film: Measured, photo: Measured) -> Measured:
    """Return how far the sole photo's widest part is from the coffin joint's centre.

    Parameters
    ----------
    film, photo : Measured
        A lateromedial film and a sole photo of one foot on one day, shod alike.

    Returns
    -------
    Measured
        ``centre_agreement_mm``: heels to widest part on the photo, less heel arm on the film,
        in mm; positive when the widest part lies in front of the joint's centre. Its u is the
        root of the sum of both squares. Where either is lacking it is absent with the reason.

    Notes
    -----
    Common practice, no source. The two pictures are placed and scaled apart, so their errors
    are independent (JCGM 100:2008, 5.1.2).

    Examples
    --------
    >>> arm = Reading("heel_arm_mm", 53.0, 1.2, "mm", "marker", "film")
    >>> widest = Reading("heel_to_widest_mm", 57.0, 1.6, "mm", "external", "photo")
    >>> found = centre_agreement(Measured({arm.code: arm}), Measured({widest.code: widest}))
    >>> found.readings["centre_agreement_mm"].value, found.readings["centre_agreement_mm"].u
    (4.0, 2.0)
    """
    arm, widest = film.readings.get(HEEL_ARM), photo.readings.get(HEEL_TO_WIDEST)
    if widest is None:
        return _absent(photo.absent.get(HEEL_TO_WIDEST, NO_SOLE))
    if arm is None:
        why = film.absent.get(HEEL_ARM)
        return _absent(NO_LATEROMEDIAL if why is None else f"{NO_LATEROMEDIAL}: {why}")
    apart = Reading(
        AGREEMENT,
        widest.value - arm.value,
        math.hypot(widest.u, arm.u),
        unit_of(AGREEMENT) or "",
        widest.scale_state,
        widest.basis,
    )
    return Measured(MappingProxyType({AGREEMENT: apart}))


def _absent(reason: str) -> Measured:
    return Measured(absent=MappingProxyType({AGREEMENT: reason}))
