"""Where tube, foot and plate stand, and how much larger a picture on the plate is.

Source: similar triangles; magnification M = SID / SOD, and SOD = SID - OID.
"""

import math

from referral.core.errors import BadScale


def positive(value: float, at: str) -> float:
    """Return ``value`` if it is a positive, finite number.

    Raises
    ------
    BadScale
        If it is not; names the field, the last part of the path ``at``.

    Examples
    --------
    >>> positive(60.0, "film.scale.length_mm")
    60.0
    """
    if not math.isfinite(value) or value <= 0.0:
        raise BadScale(f"{at.rsplit('.', 1)[-1]} must be a positive number.", at=at)
    return value


def source_to_foot_mm(sid_mm: float, oid_mm: float) -> float:
    """Return the distance from the tube to the foot's middle, in mm.

    ``sid_mm`` is tube to plate, ``oid_mm`` the foot's middle to the plate.

    Raises
    ------
    BadScale
        If the foot would not lie between tube and plate.

    Examples
    --------
    >>> source_to_foot_mm(700.0, 80.0)
    620.0
    """
    positive(sid_mm, "film.scale.sid_mm")
    if not math.isfinite(oid_mm) or not 0.0 <= oid_mm < sid_mm:
        raise BadScale("oid_mm must lie between 0 and sid_mm.", at="film.scale.oid_mm")
    return sid_mm - oid_mm


def plane_factor(
    plane: str, offset_mm: float | None, sid_mm: float | None, oid_mm: float | None
) -> float:
    """Return what a marker's mm a pixel are multiplied by, to hold at the foot's middle.

    One for a marker in the middle (``sagittal``) or in a plane nobody knows (``unknown``);
    else the distance tube to foot over the distance tube to marker, for a marker
    ``offset_mm`` nearer the tube (``tube_side``) or the plate (``plate_side``).

    Raises
    ------
    BadScale
        If the plane is none of the four, a distance is missing or impossible.

    Examples
    --------
    >>> round(plane_factor("tube_side", 65.0, 700.0, 80.0), 4)
    1.1171
    """
    if plane in ("sagittal", "unknown"):
        return 1.0
    if plane not in ("tube_side", "plate_side"):
        raise BadScale(f"There is no marker plane {plane!r}.", at="film.scale.plane")
    if offset_mm is None or sid_mm is None or oid_mm is None:
        raise BadScale(
            "A marker off the middle of the foot needs offset_mm, sid_mm and oid_mm.",
            at="film.scale.offset_mm",
        )
    positive(offset_mm, "film.scale.offset_mm")
    foot_mm = source_to_foot_mm(sid_mm, oid_mm)
    marker_mm = foot_mm - offset_mm if plane == "tube_side" else foot_mm + offset_mm
    if not 0.0 < marker_mm <= sid_mm:
        raise BadScale("The marker would lie outside tube and plate.", at="film.scale.offset_mm")
    return foot_mm / marker_mm
