"""Which landmarks a reading lacks."""

from collections.abc import Collection

Needs = tuple[str, ...]

NO_LANDMARK = "sole_at_web"
"""Stands for the sole at the web's inner edge, which no view has a landmark for."""


def lacking(needs: Needs, names: Collection[str]) -> str | None:
    """Return what is missing, as ``"needs p2_condyle and heel"``, or ``None`` if nothing is.

    Parameters
    ----------
    needs : tuple of str
        Landmark names; ``a|b`` means that either will do.
    names : collection of str
        The landmarks present. ``condyle_centre`` stands for ``p2_condyle``.

    Examples
    --------
    >>> lacking(("p2_condyle", "breakover|toe"), ["p2_condyle"])
    'needs breakover or toe'
    """
    if all(need in names for need in needs):
        return None
    present = {"p2_condyle" if name == "condyle_centre" else name for name in names}
    missing = [need for need in needs if present.isdisjoint(need.split("|"))]
    if not missing:
        return None
    if NO_LANDMARK in missing:
        return "needs the sole at the inner edge of the web, which is stated by hand"
    return "needs " + " and ".join(need.replace("|", " or ") for need in missing)
