"""What raising the heels may do to the joints: information, never a verdict."""

from collections.abc import Mapping
from types import MappingProxyType

DIP_FLEXION_PER_DEG = 0.983
PIP_FLEXION_PER_DEG = 0.243
FETLOCK_EXTENSION_PER_DEG = 0.230
"""29.5, 7.3 and 6.9 degrees over a span of 30 degrees of wedge."""

STUDIED_DEG = 15.0
"""The study went from 15 degrees toe up to 15 degrees heel up."""

JOINT_SOURCE = "Crevier-Denoix 2001, EVJ Suppl 33:74 (five horses standing, linear)"

P2_SHARE = 1.0 - DIP_FLEXION_PER_DEG
"""How much of the hoof's turn the middle phalanx makes too."""

HEELS_UP = (
    "Raised heels ease the pull of the deep flexor tendon; they load the heel horn and the "
    "superficial flexor tendon more and raise the pressure in the coffin joint."
)
HEELS_DOWN = (
    "Lowered heels unload the heel horn; they raise the pull of the deep flexor tendon and the "
    "force on the navicular bone."
)


def joint_response(lift_deg: float) -> Mapping[str, float]:
    """Return what a lift of the heels may do to three joints, in degrees.

    Parameters
    ----------
    lift_deg : float
        Total turn of the hoof by trim and wedge, + heels up.

    Returns
    -------
    Mapping[str, float]
        ``lift_deg``, ``dip_flexion_deg``, ``pip_flexion_deg`` (+ more flexed) and
        ``fetlock_extension_deg`` (+ more extended). Single horses differ.

    Notes
    -----
    Source: Crevier-Denoix 2001, EVJ Suppl 33:74.

    Examples
    --------
    >>> [round(turn, 2) for turn in joint_response(3.0).values()]
    [3.0, 2.95, 0.73, 0.69]
    """
    return MappingProxyType(
        {
            "lift_deg": lift_deg,
            "dip_flexion_deg": DIP_FLEXION_PER_DEG * lift_deg,
            "pip_flexion_deg": PIP_FLEXION_PER_DEG * lift_deg,
            "fetlock_extension_deg": FETLOCK_EXTENSION_PER_DEG * lift_deg,
        }
    )


def joint_cost(lift_deg: float) -> str:
    """Return one sentence with the benefit of a lift beside its cost; empty for none.

    Notes
    -----
    Source: directions from Riemersma 1996, EVJ 28:126 and Lawson 2007 (tendons, from
    memory), Viitanen 2003, EVJ 35:184 (pressure in the joint), Eliashar 2004, EVJ 36:431
    (navicular force).

    Examples
    --------
    >>> joint_cost(-2.0).split(";")[0]
    'Lowered heels unload the heel horn'
    """
    if lift_deg == 0:
        return ""
    return HEELS_UP if lift_deg > 0 else HEELS_DOWN
