"""What a page and a sheet both draw and say of a film's scale."""

from collections.abc import Mapping
from typing import Any

from referral.core.geometry.magnification import plane_factor
from referral.films.overlay import overlay_svg
from referral.films.queries import MeasuredFilm

PLANE_SAYS = {
    "sagittal": "The marker is taken to lie in the middle plane of the foot.",
    "tube_side": "The marker lay nearer the tube than the middle of the foot; that is put right.",
    "plate_side": "The marker lay nearer the plate than the middle of the foot; that is put right.",
    "unknown": "Nobody knows in which plane the marker lay, so the scale is an estimate.",
}
CONFLICT_SAYS = "The film's own sources of scale disagree, so none is used. Place a marker."


def marker_of(film: MeasuredFilm) -> Mapping[str, Any]:
    """Return everything that sets a film's scale as the form asks it, None where it is not said."""
    given = film.scale_given
    kind, stated = given.get("kind"), given.get("stated") or {}
    is_marker = kind == "marker"
    return {
        "ends": given.get("ends_px") if is_marker else None,
        "length_mm": given.get("length_mm") if is_marker else None,
        "plane": given.get("plane", "sagittal") if is_marker else None,
        "offset_mm": given.get("offset_mm") if is_marker else None,
        "sid_mm": given.get("sid_mm") if is_marker else None,
        "oid_mm": given.get("oid_mm") if is_marker else None,
        "detector_sid_mm": stated.get("sid_mm"),
        "detector_oid_mm": stated.get("oid_mm"),
        "known_length_mm": given.get("length_mm") if kind == "length" else None,
    }


def overlay_of(film: MeasuredFilm, marker: Mapping[str, Any]) -> str:
    """Return what is drawn over a film: landmarks, lines, and the marker."""
    return overlay_svg(
        film.landmarks.points_px if film.landmarks else {},
        film.size_px,
        view=film.film.view,
        marker_ends_px=marker["ends"],
        pixel_aspect=film.scale.aspect,
    )


def plane_says(marker: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what is taken of the plane that the marker lay in."""
    return (PLANE_SAYS[marker["plane"]],) if marker["plane"] else ()


def correction_says(film: MeasuredFilm, marker: Mapping[str, Any]) -> tuple[str, ...]:
    """Return by how much a marker off the middle is put right, in numbers."""
    if marker["plane"] not in ("tube_side", "plate_side"):
        return ()
    factor = plane_factor(marker["plane"], marker["offset_mm"], marker["sid_mm"], marker["oid_mm"])
    right_mm = film.scale.sources[0].row_mm
    lay = f"Put right by × {factor:.3f}: {right_mm / factor:.4g} mm a pixel where the marker lay"
    return (f"{lay}, {right_mm:.4g} at the middle of the foot.",)
