"""What cannot change between two films of one foot, and so tells of an error when it does."""

from referral.core.measure.readings import Caveat, Measured

BONE_ANGLE_LIMIT_DEG = 2.0
CORTEX_LIMIT = 0.05


def visit_caveats(before: Measured, now: Measured) -> tuple[Caveat, ...]:
    """Return what two measurings of one foot, of one limb of one horse, say of each other.

    Returns
    -------
    tuple of Caveat
        ``bone_angle_changed`` if the bone angle moved by more than 2 degrees: a landmark is
        wrong or the bone has remodelled. ``cortex_changed`` if the palmar cortex length moved
        by more than 5 %: a scale is wrong. Empty where either film lacks the reading.

    Notes
    -----
    The bone angle is fixed for one bone, the cortex length for one horse (derived; Turkmen,
    Vet Res Forum, for the length as a measure of size).

    Examples
    --------
    >>> visit_caveats(Measured(), Measured())
    ()
    """
    found = []
    angles = _both(before, now, "bone_angle_deg")
    if angles is not None and abs(angles[1] - angles[0]) > BONE_ANGLE_LIMIT_DEG:
        text = (
            f"The bone angle went from {angles[0]:.2f} to {angles[1]:.2f} degrees, which one bone "
            "does not do: look at the landmarks again, or at remodelling."
        )
        found.append(Caveat("bone_angle_changed", text))
    lengths = _both(before, now, "palmar_cortex_length_mm")
    if lengths is not None and abs(lengths[1] / lengths[0] - 1.0) > CORTEX_LIMIT:
        text = (
            f"The palmar cortex length went from {lengths[0]:.1f} to {lengths[1]:.1f} mm, which "
            "one horse's does not do: look at the scale of both films."
        )
        found.append(Caveat("cortex_changed", text))
    return tuple(found)


def _both(before: Measured, now: Measured, code: str) -> tuple[float, float] | None:
    first, second = before.readings.get(code), now.readings.get(code)
    if first is None or second is None:
        return None
    return first.value, second.value
