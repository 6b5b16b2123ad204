"""What a browser sends of a film: the file, and places on the picture it was shown."""

from collections.abc import Mapping
from typing import Any

from werkzeug.datastructures import FileStorage

from referral.core.errors import BadScale
from referral.core.geometry.frames import shown_size
from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.errors import Invalid
from referral.films.models import Film
from referral.films.queries import MeasuredFilm
from referral.films.scales import beside_the_files, scale_from_given, with_distances
from referral.films.schemas import LARGEST_SKEW
from referral.storage.decode.sniff import kind_of

LONGEST_NAME = 200
UNSAID_PLANE = "unknown"
"""The plane of a marker of which nobody says where it lay: its scale is an estimate."""


def sent_file(file: FileStorage | None) -> tuple[bytes, str]:
    """Return an uploaded file's bytes and its own name.

    Raises
    ------
    Invalid
        If there is no file, or its content is of no kind that is taken; says why.
    """
    if file is None or not file.filename:
        raise Invalid("Choose a file.", {"film": ["Choose the film's file."]})
    data = file.read()
    try:
        kind_of(data)
    except Invalid as error:
        raise Invalid(error.message, {"film": [error.message]}) from error
    return data, file.filename[-LONGEST_NAME:]


def refuse_other_picture(film: MeasuredFilm, given: Mapping[str, Any]) -> None:
    """Return nothing if the picture on screen has the proportions in which the film is shown.

    Raises
    ------
    Invalid
        If it is another picture: places on it would mean nothing on this film.
    """
    width, height = given["natural_width"], given["natural_height"]
    if not width or not height:
        return
    shown_width, shown_height = shown_size(film.size_px, film.scale.aspect)
    across, down = shown_width / width, shown_height / height
    if abs(across / down - 1) > LARGEST_SKEW:
        raise Invalid(
            "The picture on screen is not this film's; open the page again.",
            {"landmarks": ["The picture's proportions are not the film's."]},
        )


def check_places(film: Film, points: Mapping[str, Any]) -> None:
    """Return nothing if every landmark is one of the film's view and lies on the film.

    Raises
    ------
    Invalid
        If one does not; says which.
    """
    for name, at in points.items():
        if name not in LANDMARKS[film.view]:
            raise _unplaceable("A landmark was sent that this view does not have.")
        several = isinstance(at[0], list)
        if several != (name in SEVERAL_POINTS):
            raise _unplaceable(f"{name}: {'one place' if several else 'several places'} expected.")
        for x, y in at if several else [at]:
            if not (0 <= x <= film.width_px and 0 <= y <= film.height_px):
                raise _unplaceable(f"{name} lies beside the film; place it again.")


def _unplaceable(sentence: str) -> Invalid:
    return Invalid(sentence, {"landmarks": [sentence]})


def scale_given(
    film: MeasuredFilm, own: Mapping[str, Any] | None, given: Mapping[str, Any]
) -> Mapping[str, Any] | None:
    """Return the scale that this form sets, or None if it sets none anew.

    ``own`` is what the film's own file says of its scale.

    Raises
    ------
    Invalid
        If what it says of the scale is only half of it, is impossible, or goes with no such
        picture.
    """
    before = film.scale_row.given if film.scale_row else {}
    scale: Mapping[str, Any] | None
    if given["scale_withdrawn"]:
        scale = {"kind": "tags", "tags": dict(own)} if own else {"kind": "none"}
    elif film.as_core().is_photo:
        length = given["known_length_mm"]
        scale = None if length is None else {"kind": "length", "length_mm": length}
    else:
        distances = _distances_given(own, given)
        scale = _marker_given(own, given, distances) or distances
    return None if scale == before else scale


def _marker_given(
    own: Mapping[str, Any] | None,
    given: Mapping[str, Any],
    distances: Mapping[str, Any] | None,
) -> Mapping[str, Any] | None:
    """Return the marker, with the distances of the whole film beside it where they are stated."""
    ends, length = given["marker_ends"], given["marker_length_mm"]
    if not ends and length is None:
        return None
    if not ends or length is None:
        sentence = "A marker needs both its ends and its true length."
        raise Invalid(sentence, {"marker_length_mm": [sentence]})
    plane = given["marker_plane"] or UNSAID_PLANE
    marker = {"kind": "marker", "length_mm": length, "ends_px": ends, "plane": plane}
    if plane in OFF_THE_MIDDLE:
        marker.update(_all_of(given, MARKER_DISTANCES, "A marker off the middle"))
    if distances is None:
        marker = beside_the_files(marker, own)
    else:
        marker.update(beside=distances["tags"], stated=distances["stated"])
    _refuse_impossible(marker)
    return marker


OFF_THE_MIDDLE = frozenset({"tube_side", "plate_side"})
MARKER_DISTANCES = {"marker_offset_mm": "offset_mm", "sid_mm": "sid_mm", "oid_mm": "oid_mm"}
FILM_DISTANCES = {"detector_sid_mm": "sid_mm", "detector_oid_mm": "oid_mm"}
BETWEEN = "The foot stands between tube and plate: this is less than from tube to plate."
IMPOSSIBLE: Mapping[str, tuple[str, str]] = {
    "film.scale.oid_mm": ("oid_mm", BETWEEN),
    "film.scale.offset_mm": (
        "marker_offset_mm",
        "With these distances the marker would lie behind the tube or the plate; measure again.",
    ),
    "film.scale.ends_px": (
        "marker_length_mm",
        "Both ends of the marker lie on one spot; place them apart.",
    ),
}
"""Where the core finds a marker impossible, and the field and sentence that mend it."""


def _refuse_impossible(marker: Mapping[str, Any]) -> None:
    try:
        scale_from_given(marker)
    except BadScale as error:
        field, sentence = IMPOSSIBLE.get(error.at, ("marker_length_mm", error.message))
        raise Invalid(sentence, {field: [sentence]}) from error


def _all_of(given: Mapping[str, Any], names: Mapping[str, str], what: str) -> dict[str, float]:
    """Return the distances under their keys.

    Raises
    ------
    Invalid
        At each one that is missing.
    """
    missing = [name for name in names if given[name] is None]
    if missing:
        sentence = f"{what} needs each of these distances."
        raise Invalid(sentence, {name: [sentence] for name in missing})
    return {key: given[name] for name, key in names.items()}


def _distances_given(
    own: Mapping[str, Any] | None, given: Mapping[str, Any]
) -> Mapping[str, Any] | None:
    if all(given[name] is None for name in FILM_DISTANCES):
        return None
    distances = _all_of(given, FILM_DISTANCES, "A magnification")
    if distances["oid_mm"] >= distances["sid_mm"]:
        raise Invalid(BETWEEN, {"detector_oid_mm": [BETWEEN]})
    stated = with_distances(own, **distances)
    if stated is None:
        sentence = "The file says nothing of its plate's spacing, so distances give no scale."
        raise Invalid(sentence, {"detector_sid_mm": [sentence]})
    return stated
